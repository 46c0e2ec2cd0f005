"""The columns of the history file, and the words that some of them allow."""

from repairs.faults import declared
from repairs.jobs import states

JOB_COLUMNS = (
    "booked_in",
    "handed_back",
    "customer",
    "email",
    "phone",
    "kind",
    "maker",
    "model",
    "serial",
    "complaint",
    "returned_from",
    "return_is",
)
"""What belongs to the job: the same in every row of one job."""

REPAIR_COLUMNS = (
    "fault",
    "fault_name",
    "fix",
    "fix_name",
    "declared",
    "outcome",
    "minutes",
    "charged",
    "parts_cost",
    "parts",
)
"""What belongs to the one repair of a row."""

COLUMNS = ("job", *JOB_COLUMNS, *REPAIR_COLUMNS)
REQUIRED = ("job", "booked_in", "customer", "kind", "model")

LONGEST = {
    "job": 40,
    "customer": 120,
    "email": 254,
    "phone": 40,
    "kind": 40,
    "maker": 60,
    "model": 80,
    "serial": 60,
    "complaint": 2000,
    "fault": 40,
    "fault_name": 120,
    "fix": 40,
    "fix_name": 120,
    "returned_from": 40,
}
"""Characters that fit the record a cell lands on."""

DECLARED = {label: word for word, label in declared.LABELS.items()}
OUTCOMES = {label: word for word, label in states.OUTCOMES.items()}
RETURN_IS = {
    label: word for word, label in states.RETURN_IS.items() if word != states.UNDECIDED
}

NOT_SAID = frozenset({"email", "phone", "maker", "serial", "complaint"}) | frozenset(
    {"fault_name", "fix_name", "minutes", "parts_cost"}
)
"""Columns where an empty cell says nothing, so it gainsays nothing that is known."""
