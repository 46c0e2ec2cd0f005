"""The job and all that is recorded while it is here.

Django asks for all models of a book in one place; so does everybody else.
"""

from repairs.jobs.models.bench_records import (
    CheckResult,
    FinalTest,
    Labour,
    PartUsed,
    Reading,
)
from repairs.jobs.models.change_marks import ChangeMark
from repairs.jobs.models.import_of_past_jobs import PastImport
from repairs.jobs.models.job import AccessCode, Job, JobTransition
from repairs.jobs.models.part_reservation import PartReservation
from repairs.jobs.models.repair import Repair
from repairs.jobs.models.return_assessment import Comeback, ReturnAssessment
from repairs.jobs.models.stopgap_answer import StopgapAnswer
from repairs.jobs.models.uncoded_repair import UncodedRepair
from repairs.jobs.models.unstocked_part import UnstockedPart

__all__ = [
    "AccessCode",
    "ChangeMark",
    "CheckResult",
    "Comeback",
    "Job",
    "Labour",
    "PartReservation",
    "PartUsed",
    "FinalTest",
    "PastImport",
    "Reading",
    "Repair",
    "ReturnAssessment",
    "JobTransition",
    "UncodedRepair",
    "UnstockedPart",
    "StopgapAnswer",
]
