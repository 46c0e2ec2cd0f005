"""Register: Django finds the models of all rooms of `repairs` through this file."""

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.diagnosis.models import LearntCase, LearntCount
from repairs.faults.models import (
    Check,
    Fault,
    Fix,
    MergedEntry,
    Symptom,
    UsualPart,
)
from repairs.jobs.models import (
    AccessCode,
    ChangeMark,
    CheckResult,
    Comeback,
    FinalTest,
    Job,
    JobTransition,
    Labour,
    PartReservation,
    PartUsed,
    PastImport,
    Reading,
    Repair,
    ReturnAssessment,
    StopgapAnswer,
    UncodedRepair,
    UnstockedPart,
)
from repairs.knowledge.models import BoardNote
from repairs.photos.models import Photo, PhotoFile, PhotoLink
from repairs.sheet_import.models import SheetDraft, SheetLayout
from repairs.stock.models import Delivery, Part, PartOrder, StockMovement, Supplier

__all__ = [
    "AccessCode",
    "BoardNote",
    "ChangeMark",
    "Check",
    "CheckResult",
    "Comeback",
    "Customer",
    "Delivery",
    "Device",
    "DeviceModel",
    "Fault",
    "Fix",
    "Job",
    "Labour",
    "LearntCase",
    "LearntCount",
    "MergedEntry",
    "Part",
    "PartOrder",
    "PartReservation",
    "PartUsed",
    "FinalTest",
    "PastImport",
    "Photo",
    "PhotoFile",
    "PhotoLink",
    "Reading",
    "Repair",
    "ReturnAssessment",
    "JobTransition",
    "SheetDraft",
    "SheetLayout",
    "StockMovement",
    "StopgapAnswer",
    "Supplier",
    "Symptom",
    "UncodedRepair",
    "UnstockedPart",
    "UsualPart",
]
