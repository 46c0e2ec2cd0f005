"""Register: Django finds the models of all rooms of `repairs` through this file."""

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.faults.models import Check, Fault, Fix, Symptom, UsualPart
from repairs.jobs.models import (
    AccessCode,
    ChangeMark,
    Comeback,
    FinalTest,
    Job,
    JobTransition,
    Labour,
    PartUsed,
    Reading,
    Repair,
    ReturnAssessment,
)
from repairs.stock.models import Delivery, Part, StockMovement, Supplier

__all__ = [
    "AccessCode",
    "ChangeMark",
    "Check",
    "Comeback",
    "Customer",
    "Delivery",
    "Device",
    "DeviceModel",
    "Fault",
    "Fix",
    "Job",
    "Labour",
    "Part",
    "PartUsed",
    "FinalTest",
    "Reading",
    "Repair",
    "ReturnAssessment",
    "JobTransition",
    "StockMovement",
    "Supplier",
    "Symptom",
    "UsualPart",
]
