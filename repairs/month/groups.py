"""Deliveries, models and board revisions: their repairs, and which are suspect."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from urllib.parse import urlencode

import numpy as np
import pandas as pd
from django.urls import reverse

from repairs.comebacks.queries import read
from repairs.comebacks.scope import Scope
from repairs.customers.models import Device, DeviceModel
from repairs.jobs import states
from repairs.jobs.models import PartUsed
from repairs.month.frame import Observations
from repairs.month.outliers import TOO_MANY_COMEBACKS, group_effects
from repairs.stock.models import Delivery

DELIVERY, MODEL, BOARD = "delivery", "model", "board revision"
PAGES = {DELIVERY: "month:delivery", MODEL: "month:model", BOARD: "month:board"}
MIN_SHARED = 2  # comebacks that two groups share before it is shown


@dataclass(frozen=True)
class GroupRow:
    """A delivery, a model or a board revision; `key` is the id of the record."""

    kind: str
    key: int
    name: str
    repairs: int
    comebacks: int
    expected: float
    ratio: float
    low: float
    high: float
    probability: float
    verdict: str
    revision: str = ""
    supplier: str = ""
    received: date | None = None
    repairs_back: frozenset[int] = field(default=frozenset(), repr=False)
    """Repairs of a suspect group that came back."""
    comebacks_by_pair: dict[int, int] = field(default_factory=dict, repr=False)
    """Comebacks of a suspect group, by the number of the pair."""
    devices: int = 0
    """Number of devices with these comebacks."""
    shared: tuple[tuple[str, int], ...] = ()
    """Other suspect groups, and how many of these comebacks they share."""

    @property
    def is_bad(self) -> bool:
        return self.verdict == TOO_MANY_COMEBACKS

    @property
    def label(self) -> str:
        return f"{self.kind} {self.name}"

    def url(self, scope: Scope, **params: str) -> str:
        """Return the address of the page that lists its repairs."""
        if self.kind == BOARD:
            params = {"revision": self.revision, **params}
        return page_url(PAGES[self.kind], self.key, scope=scope, **params)


def page_url(page: str, *args: int, scope: Scope, **params: str) -> str:
    """Return the address of a page for this scope."""
    return f"{reverse(page, args=args)}?{urlencode(scope.params | params)}"


def all_groups(seen: Observations) -> list[GroupRow]:
    """Return suspect groups first, then by probability; suspects that share comebacks
    say so.
    """
    ordered = sorted(
        [*_deliveries(seen), *_models(seen), *_boards(seen)],
        key=lambda g: (not g.is_bad, -g.probability, -g.expected, g.name),
    )
    bad = [group for group in ordered if group.is_bad]
    return [
        replace(group, shared=_shared(group, bad)) if group.is_bad else group
        for group in ordered
    ]


def warnings(
    groups: Sequence[GroupRow],
    *,
    deliveries: Collection[int] = (),
    model: int | None = None,
    revision: str = "",
) -> list[GroupRow]:
    """Return the suspect groups that matter for these deliveries or this device."""
    return [
        group
        for group in groups
        if group.is_bad
        and (
            (group.kind == DELIVERY and group.key in deliveries)
            or (group.kind == MODEL and group.key == model)
            or (
                group.kind == BOARD
                and group.key == model
                and revision in ("", group.revision)
            )
        )
    ]


def _shared(group: GroupRow, others: Sequence[GroupRow]) -> tuple[tuple[str, int], ...]:
    """Return the other suspect groups with shared comebacks: one may cause both."""
    counts = [
        (other.label, len(group.repairs_back & other.repairs_back))
        for other in others
        if other is not group
    ]
    return tuple((name, count) for name, count in counts if count >= MIN_SHARED)


def _deliveries(seen: Observations) -> list[GroupRow]:
    # Imported parts without lot and supplier share one delivery, which means nothing.
    named = Delivery.objects.exclude(lot="", supplier=None).order_by()
    used = PartUsed.objects.filter(
        delivery__in=named.values("pk"),
        repair__outcome=states.FIXED,
        repair__handed_over_on__lte=seen.as_of,
    )
    rows = used.order_by().values_list("repair_id", "delivery_id")
    # A repair that used two parts of one delivery counts once.
    members = read(rows, ["repair", "key"]).drop_duplicates()
    facts = named.values_list(
        "pk", "part__number", "supplier__name", "lot", "received_on"
    )
    details = {
        (pk,): {
            "name": f"{lot or f'received {received}'} of {part}",
            "supplier": supplier or "",
            "received": received,
        }
        for pk, part, supplier, lot, received in facts
    }
    return _group_rows(DELIVERY, members, ["key"], details, seen)


def _models(seen: Observations) -> list[GroupRow]:
    members = seen.repairs[["repair", "model"]].rename(columns={"model": "key"})
    details = {(pk,): {"name": name} for pk, name in _model_names().items()}
    return _group_rows(MODEL, members, ["key"], details, seen)


def _boards(seen: Observations) -> list[GroupRow]:
    with_board = Device.objects.exclude(board_revision="").order_by()
    devices = pd.DataFrame(
        with_board.values_list("pk", "board_revision").iterator(),
        columns=["device", "revision"],
    ).astype({"device": "int64"})
    on_board = seen.repairs[["repair", "device", "model"]].merge(devices, on="device")
    members = on_board.rename(columns={"model": "key"})[["repair", "key", "revision"]]
    names = _model_names() if len(members) else {}
    boards = members[["key", "revision"]].drop_duplicates()
    details = {
        (key, revision): {"name": f"{names[key]}, {revision}", "revision": revision}
        for key, revision in boards.itertuples(index=False, name=None)
    }
    return _group_rows(BOARD, members, ["key", "revision"], details, seen)


def _model_names() -> dict[int, str]:
    rows = DeviceModel.objects.order_by().values_list("pk", "maker", "model")
    return {pk: f"{maker} {model}".strip() for pk, maker, model in rows}


def _group_rows(
    kind: str, members: pd.DataFrame, keys: list[str], details: dict, seen: Observations
) -> list[GroupRow]:
    """Return the groups of one kind with their estimates.

    `members` has a repair and the keys of its group in each row; `details` are fields
    of each group by its key.
    """
    places = seen.repairs[["repair"]].assign(place=np.arange(len(seen.repairs)))
    members = members.merge(places, on="repair")
    if members.empty:
        return []
    row, group = members["place"].to_numpy(), members.groupby(keys).ngroup().to_numpy()
    each = members.assign(group=group).drop_duplicates("group").sort_values("group")
    names = list(each[keys].itertuples(index=False, name=None))
    effects = group_effects(seen, row=row, group=group, groups=len(names))
    figures = effects.to_dict("records")
    is_bad = (effects["verdict"] == TOO_MANY_COMEBACKS).to_numpy()
    back = seen.repairs.iloc[row].assign(group=group)
    back = back[(back["is_event"] == 1) & is_bad[group]]
    for number, of_group in back.groupby("group"):
        figures[number] |= {
            "repairs_back": frozenset(of_group["repair"]),
            "comebacks_by_pair": of_group["pair"].value_counts().to_dict(),
            "devices": of_group["device"].nunique(),
        }
    return [
        GroupRow(kind=kind, key=name[0], **details[name], **figures[number])
        for number, name in enumerate(names)
    ]
