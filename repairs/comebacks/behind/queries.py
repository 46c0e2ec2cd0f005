"""The repairs and the comebacks behind a figure, however many there are."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
from django.db.models import Q
from django.utils.functional import cached_property
from django_tables2.data import TableData

from repairs.comebacks.behind.forms import COMEBACK, WATCHED
from repairs.comebacks.counted.queries import (
    ALL,
    DayNumber,
    comebacks_by,
    fixed_by,
)
from repairs.comebacks.queries import Behind, first_comebacks
from repairs.comebacks.watch import NEVER, Ints, days_watched
from repairs.customers.models import Device, DeviceModel
from repairs.jobs.models import Job, PartUsed, Repair
from repairs.stock.models import Delivery

# --- which repairs ------------------------------------------------------------


def counted_repairs(
    *,
    as_of: date,
    within: int,
    became: str = "",
    since: date | None = None,
    only: Q = ALL,
):
    """The repairs that count on that day, the latest handed back first.

    `became` is what had become of them; with `since` they were handed back and still
    watched on that earlier day.
    """
    repairs = fixed_by(as_of, only=only)
    if since:
        repairs = repairs.filter(
            Q(pk__in=fixed_by(since).values("pk")), *_still_watched(since, within)
        )
    if became == COMEBACK:
        repairs = repairs.filter(pk__in=_came_back(as_of, within))
    elif became == WATCHED:
        repairs = repairs.filter(*_still_watched(as_of, within))
    return repairs.order_by("-handed_over_on", "-id")


def _came_back(as_of: date, within: int):
    after = DayNumber("came_back_on") - DayNumber("handed_over_on")
    back = comebacks_by(as_of).alias(after=after)
    return back.filter(after__lte=within).values("earlier_id")


def _still_watched(as_of: date, within: int) -> list[Q]:
    ends = "job__device__out_of_use_on"
    return [
        ~Q(pk__in=_came_back(as_of, within)),
        Q(**{f"{ends}__isnull": True}) | Q(**{f"{ends}__gt": as_of}),
        Q(handed_over_on__gt=as_of - timedelta(days=within)),
    ]


def of_month(first: date, *, as_of: date):
    """The repairs handed back in the month of this first day."""
    following = (first + timedelta(days=31)).replace(day=1)
    return fixed_by(as_of).filter(
        job__handed_over_on__gte=first, job__handed_over_on__lt=following
    )


def of_delivery(delivery: Delivery, *, as_of: date):
    used = PartUsed.objects.filter(delivery=delivery).values("repair")
    return fixed_by(as_of).filter(pk__in=used)


def of_model(model: DeviceModel, *, as_of: date):
    return fixed_by(as_of).filter(job__device__model=model)


def of_board(model: DeviceModel, revision: str, *, as_of: date):
    devices = Device.objects.filter(model=model, board_revision=revision)
    return fixed_by(as_of).filter(job__device__in=devices.values("pk"))


# --- what became of them --------------------------------------------------------


def behind(repairs, *, as_of: date, within: int) -> list[Behind]:
    """These repairs and what became of each: comebacks first, then the latest."""
    found = list(
        repairs.select_related("job__device__model", "job__customer", "fault", "fix")
    )
    back = comebacks_by(as_of).filter(earlier__in=repairs.order_by().values("pk"))
    first = first_comebacks(back)
    t, d = days_watched(
        _ordinals(repair.job.handed_over_on for repair in found),
        came_back=_ordinals(
            first[repair.pk].came_back_on if repair.pk in first else None
            for repair in found
        ),
        watch_ends=_ordinals(repair.job.device.out_of_use_on for repair in found),
        as_of=as_of.toordinal(),
        within=within,
    )
    rows = [
        Behind(
            repair=repair,
            days=days,
            is_back=bool(is_back),
            comeback=first[repair.pk].job if repair.pk in first else None,
            cost=first[repair.pk].cost_on(as_of) if repair.pk in first else None,
            within=within,
        )
        for repair, days, is_back in zip(found, t.tolist(), d.tolist(), strict=True)
    ]
    rows.sort(key=lambda row: row.job.handed_over_on, reverse=True)
    return sorted(rows, key=lambda row: not row.is_back)


def _ordinals(days) -> Ints:
    return np.array([d.toordinal() if d else NEVER for d in days], dtype=np.int64)


class PageByPage(TableData):
    """Repairs for a list, of which only the page that is shown is read."""

    def __init__(self, repairs, *, as_of: date, within: int):
        super().__init__(repairs)
        self.asked = {"as_of": as_of, "within": within}

    def __len__(self):
        return self._count

    @cached_property
    def _count(self):
        return self.data.count()

    def __getitem__(self, key):
        ids = list(self.data.values_list("pk", flat=True)[key])
        rows = behind(Repair.objects.filter(pk__in=ids), **self.asked)
        return sorted(rows, key=lambda row: ids.index(row.repair.pk))

    def __iter__(self):
        return iter(self[:])

    def order_by(self, aliases):
        """No other order: what an address says of one is passed over."""


# --- comebacks ------------------------------------------------------------------


@dataclass(frozen=True)
class Redone:
    """A comeback, and what it cost; None while it is here."""

    job: Job
    repair: Repair
    cost: Decimal | None


def redone(
    *,
    as_of: date,
    is_here: bool = False,
    fault: int | None = None,
    fix: int | None = None,
    only: Q = ALL,
) -> list[Redone]:
    """The comebacks handed back in the month of that day, up to it, the latest first;
    or those still here.
    """
    back = comebacks_by(as_of, only=only)
    if is_here:
        back = back.exclude(rework_handed_over_on__lte=as_of)
    else:
        back = back.filter(
            rework_handed_over_on__gte=as_of.replace(day=1),
            rework_handed_over_on__lte=as_of,
        )
    if fault:
        back = back.filter(fault_id=fault)
    if fix:
        back = back.filter(fix_id=fix)
    found = back.select_related(
        "job__device__model", "earlier__job", "earlier__fault", "earlier__fix"
    ).order_by("-rework_handed_over_on", "-came_back_on", "-pk")
    return [
        Redone(job=one.job, repair=one.earlier, cost=one.cost_on(as_of))
        for one in found
    ]
