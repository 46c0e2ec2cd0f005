"""How often a fault was seen, and on what."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Max

from repairs.faults.models import Fault

MAX_MODELS = 5


@dataclass(frozen=True)
class ModelCount:
    name: str
    count: int


@dataclass(frozen=True)
class Seen:
    """`models` are the most frequent ones, first."""

    jobs: int
    last: date
    models: list[ModelCount]


def seen(fault: Fault) -> Seen | None:
    """Return how often the fault was on a job; None if it never was."""
    total = fault.repairs.aggregate(
        jobs=Count("job", distinct=True), last=Max("job__booked_in_on")
    )
    if not total["jobs"]:
        return None
    model = "job__device__model__"
    counts = (
        fault.repairs.order_by()
        .values(f"{model}maker", f"{model}model")
        .annotate(n=Count("job", distinct=True))
        .order_by("-n", f"{model}model")[:MAX_MODELS]
    )
    models = [
        ModelCount(f"{row[f'{model}maker']} {row[f'{model}model']}".strip(), row["n"])
        for row in counts
    ]
    return Seen(total["jobs"], total["last"], models)
