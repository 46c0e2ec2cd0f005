"""The job and all that is written down while it is here.

Django asks for all models of a book in one place; so does everybody else.
"""

from repairs.jobs.models.access import AccessCode
from repairs.jobs.models.bench import Labour, PartUsed, ProofRun, Reading
from repairs.jobs.models.changed import Changed
from repairs.jobs.models.decision import Comeback, ReturnDecision
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
    "ProofRun",
    "Reading",
    "Repair",
    "ReturnDecision",
    "Stale",
    "Step",
]
