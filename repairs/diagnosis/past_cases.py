"""The cases of the past as `replay` goes through them."""

from repairs.customers.models import DeviceModel
from repairs.diagnosis.evidence import Place
from repairs.diagnosis.learning import BATCH
from repairs.diagnosis.models import LearntCase
from repairs.diagnosis.replaying import PastCase


def load_past() -> list[PastCase]:
    """Return every job that was learnt from, with all its faults."""
    places = _places()
    rows = LearntCase.objects.order_by("job", "fault").values_list(
        *("job", "job__booked_in_on", "closed_on", "model", "board", "features"),
        "fault",
    )
    found: dict[int, tuple] = {}
    for job, came, closed, model, board, features, fault in rows.iterator(BATCH):
        facts = (came, closed, model, board, features, set())
        found.setdefault(job, facts)[-1].add(fault)
    return [
        PastCase(
            came_on=came,
            closed_on=closed,
            place=Place(places[model][0], model, board, places[model][1]),
            features=features.splitlines(),
            faults=frozenset(faults),
        )
        for came, closed, model, board, features, faults in found.values()
    ]


def _places() -> dict[int, tuple[str, tuple[int, ...]]]:
    """Return of each model its kind, and the models of its family."""
    models = list(DeviceModel.objects.order_by("pk"))
    families: dict[tuple[str, str], list[int]] = {}
    for model in models:
        families.setdefault((model.kind, model.family), []).append(model.pk)
    return {
        model.pk: (
            model.kind,
            tuple(families[model.kind, model.family]) if model.family else (),
        )
        for model in models
    }
