"""The job and all that is written down while it is here.

Django asks for all models of a book in one place; so does everybody else.
"""

from repairs.jobs.models.access import AccessCode
from repairs.jobs.models.bench_records import FinalTest, Labour, PartUsed, Reading
from repairs.jobs.models.change_marks import Changed
from repairs.jobs.models.decision import Comeback, ReturnAssessment
from repairs.jobs.models.job import Job, Step
from repairs.jobs.models.repair import Repair
from repairs.jobs.models.steps import NotYet, Stale

__all__ = [
    "AccessCode",
    "Changed",
    "Comeback",
    "Job",
    "Labour",
    "NotYet",
    "PartUsed",
    "FinalTest",
    "Reading",
    "Repair",
    "ReturnAssessment",
    "Stale",
    "Step",
]
