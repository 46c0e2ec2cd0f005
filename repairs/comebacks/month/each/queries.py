"""The repairs that count one by one, read once for all the days of a month's page."""

from datetime import date
from typing import NamedTuple

import numpy as np
from django.db.models import Q

from repairs.comebacks.counted.queries import (
    ALL,
    DayNumber,
    columns,
    comebacks_by,
    fixed_by,
)
from repairs.comebacks.month.seen import Seen, seen
from repairs.comebacks.record import Record
from repairs.comebacks.watch import NEVER, Ints
from repairs.customers.models import Device
from repairs.jobs import states
from repairs.jobs.models import PartUsed
from repairs.stock.models import Delivery


class Each(NamedTuple):
    """Columns of the repairs in the order of their ids; days are day numbers."""

    repair: Ints
    fault: Ints
    fix: Ints
    device: Ints
    model: Ints
    handed_back: Ints
    watch_ends: Ints

    def where(self, keep) -> "Each":
        return Each(*(column[keep] for column in self))

    def by(self, day: date) -> "Each":
        """Those that were handed back on or before an earlier day."""
        return self.where(self.handed_back <= day.toordinal())


def each_by(as_of: date, *, only: Q = ALL) -> Each:
    """Those handed back on or before the day."""
    # The database need not put a million rows in order: they mostly are.
    rows = fixed_by(as_of, only=only).order_by()
    found = columns(
        rows.values_list(
            "id",
            "fault_id",
            "fix_id",
            "job__device_id",
            "job__device__model_id",
            DayNumber("handed_over_on"),
            DayNumber("job__device__out_of_use_on"),
        )
    )
    return Each(*found[:, np.argsort(found[0], kind="stable")])


def seen_of(record: Record, each: Each, *, within: int, only: Q = ALL) -> Seen:
    """What was seen by the day of the table of the repairs it counts."""
    width = int(each.fix.max(initial=0)) + 1
    keys = np.array(
        [pair.fault_id * width + pair.fix_id for pair in record.pairs], dtype=np.int64
    )
    order = np.argsort(keys)
    pair = order[np.searchsorted(keys[order], each.fault * width + each.fix)]
    came_back = np.full(len(each.repair), NEVER, dtype=np.int64)
    back = comebacks_by(record.as_of, only=only)
    earlier, day = columns(back.values_list("earlier_id", DayNumber("came_back_on")))
    np.minimum.at(came_back, np.searchsorted(each.repair, earlier), day)
    return seen(
        as_of=record.as_of,
        within=within,
        repair=each.repair,
        pair=pair,
        model=each.model,
        handed_back=each.handed_back,
        watch_ends=each.watch_ends,
        came_back=came_back,
    )


def deliveries_used(as_of: date) -> tuple[Ints, Ints]:
    """The repairs that took parts of a delivery that is one thing, and the delivery.

    A repair that took two parts of one delivery is one repair.
    """
    used = PartUsed.objects.filter(
        delivery__in=named_deliveries().values("pk"),
        repair__outcome=states.FIXED,
        repair__handed_over_on__lte=as_of,
    )
    both = columns(used.order_by().values_list("repair_id", "delivery_id"))
    repair, delivery = np.unique(both, axis=1)
    return repair, delivery


def named_deliveries():
    """Deliveries that are one thing: parts of a history file without one share a
    delivery of no lot and no supplier, which tells nothing.
    """
    return Delivery.objects.exclude(lot="", supplier=None).order_by()


def boards(each: Each) -> tuple[list[tuple[int, str]], Ints, Ints]:
    """The boards that are told apart, each a model and a revision, the first repaired
    first; the rows of the repairs on one, and which it is.
    """
    with_one = Device.objects.exclude(board_revision="").order_by("id")
    rows = with_one.values_list("id", "model_id", "board_revision")
    names: dict[tuple[int, str], int] = {}
    devices, numbers = [], []
    for device, model, revision in rows.iterator():
        devices.append(device)
        numbers.append(names.setdefault((model, revision), len(names)))
    device, number = (np.array(x, dtype=np.int64) for x in (devices, numbers))
    spot = np.searchsorted(device, each.device).clip(max=max(len(device) - 1, 0))
    row = np.flatnonzero(device[spot] == each.device) if len(device) else spot[:0]
    found, first, board = np.unique(
        number[spot[row]], return_index=True, return_inverse=True
    )
    order = np.argsort(first)
    every = list(names)
    return (
        [every[which] for which in found[order].tolist()],
        row,
        np.argsort(order)[board.reshape(-1)],
    )
