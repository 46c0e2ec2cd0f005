"""The job and all that is recorded while it is here.

Django asks for all models of a book in one place; so does everybody else.
"""

from repairs.jobs.models.bench_records import FinalTest, Labour, PartUsed, Reading
from repairs.jobs.models.change_marks import Changed
from repairs.jobs.models.decision import Comeback, ReturnAssessment
from repairs.jobs.models.job import AccessCode, Job, Step
from repairs.jobs.models.repair import Repair

__all__ = [
    "AccessCode",
    "Changed",
    "Comeback",
    "Job",
    "Labour",
    "PartUsed",
    "FinalTest",
    "Reading",
    "Repair",
    "ReturnAssessment",
    "Step",
]
