"""The repairs and comebacks behind a figure, and the result of each."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import Q
from django.utils.functional import cached_property
from django_tables2.data import TableData

from repairs.comebacks.queries import ALL, DayNumber, comebacks_by, fixed_by
from repairs.comebacks.watch import NOT_OBSERVED, Ints, follow_up
from repairs.jobs.models import Comeback, Job, Repair

COMEBACK, IN_FOLLOW_UP, NO_COMEBACK = "comeback", "in follow-up", "no comeback"

# --- which repairs ------------------------------------------------------------


def counted_repairs(
    *,
    as_of: date,
    within: int,
    result: str = "",
    since: date | None = None,
    only: Q = ALL,
):
    """Return the repairs that count on that day, latest handover first.

    `result` selects by result. With `since`, only those handed over and in follow-up on
    that earlier day.
    """
    repairs = fixed_by(as_of, only=only)
    if since:
        repairs = repairs.filter(
            Q(pk__in=fixed_by(since).values("pk")), *_in_follow_up(since, within)
        )
    if result == COMEBACK:
        repairs = repairs.filter(pk__in=_came_back(as_of, within))
    elif result == IN_FOLLOW_UP:
        repairs = repairs.filter(*_in_follow_up(as_of, within))
    return repairs.order_by("-handed_over_on", "-id")


def _came_back(as_of: date, within: int):
    days = DayNumber("came_back_on") - DayNumber("handed_over_on")
    back = comebacks_by(as_of).alias(days=days)
    return back.filter(days__lte=within).values("earlier_id")


def _in_follow_up(as_of: date, within: int) -> list[Q]:
    ends = "job__device__out_of_use_on"
    return [
        ~Q(pk__in=_came_back(as_of, within)),
        Q(**{f"{ends}__isnull": True}) | Q(**{f"{ends}__gt": as_of}),
        Q(handed_over_on__gt=as_of - timedelta(days=within)),
    ]


# --- what became of them --------------------------------------------------------


@dataclass(frozen=True)
class RepairOutcome:
    """A repair, its days of follow-up and its first comeback."""

    repair: Repair
    days: int
    came_back: bool
    comeback: Comeback | None
    within: int

    @property
    def job(self) -> Job:
        return self.repair.job

    @property
    def result(self) -> str:
        if self.came_back:
            return COMEBACK
        return NO_COMEBACK if self.days >= self.within else IN_FOLLOW_UP


def outcomes(repairs, *, as_of: date, within: int) -> list[RepairOutcome]:
    """Return the results of these repairs: comebacks first, then the latest."""
    back = comebacks_by(as_of).filter(earlier__in=repairs.order_by().values("pk"))
    repairs = list(
        repairs.select_related("job__device__model", "job__customer", "fault", "fix")
    )
    latest_first = back.select_related("job").order_by("-came_back_on", "-job_id")
    first = {comeback.earlier_id: comeback for comeback in latest_first}
    for comeback in first.values():
        comeback.cost = comeback.cost_on(as_of)
    comebacks = [first.get(repair.pk) for repair in repairs]
    days, is_event = follow_up(
        _ordinals(repair.job.handed_over_on for repair in repairs),
        came_back=_ordinals(back and back.came_back_on for back in comebacks),
        out_of_use=_ordinals(repair.job.device.out_of_use_on for repair in repairs),
        as_of=as_of.toordinal(),
        within=within,
    )
    rows = [
        RepairOutcome(repair, n, bool(is_back), comeback, within)
        for repair, n, is_back, comeback in zip(
            repairs, days.tolist(), is_event.tolist(), comebacks, strict=True
        )
    ]
    rows.sort(key=lambda row: (row.job.handed_over_on, row.repair.pk), reverse=True)
    return sorted(rows, key=lambda row: not row.came_back)


def _ordinals(days) -> Ints:
    numbers = [day.toordinal() if day else NOT_OBSERVED for day in days]
    return np.array(numbers, dtype=np.int64)


class OutcomePages(TableData):
    """Repairs for a list, of which only the page shown is loaded."""

    def __init__(self, repairs, *, as_of: date, within: int):
        super().__init__(repairs)
        self.period = {"as_of": as_of, "within": within}

    def __len__(self):
        return self._count

    @cached_property
    def _count(self):
        return self.data.count()

    def __getitem__(self, key):
        ids = list(self.data.values_list("pk", flat=True)[key])
        rows = outcomes(Repair.objects.filter(pk__in=ids), **self.period)
        return sorted(rows, key=lambda row: ids.index(row.repair.pk))

    def __iter__(self):
        return iter(self[:])

    def order_by(self, aliases):
        """Ignore any other order requested in the address."""


# --- comebacks ------------------------------------------------------------------


def comeback_costs(
    *,
    as_of: date,
    is_here: bool = False,
    pairs: Q = ALL,
    only: Q = ALL,
) -> list[Comeback]:
    """Return the comebacks handed over in the month of that day, up to it.

    Latest first. With `is_here`, those still in the shop instead. `pairs` is a
    condition on fault and fix. The cost is that known on the day, None while the device
    is in the shop.
    """
    back = comebacks_by(as_of, only=only).filter(pairs)
    if is_here:
        back = back.exclude(rework_handed_over_on__lte=as_of)
    else:
        back = back.filter(
            rework_handed_over_on__gte=as_of.replace(day=1),
            rework_handed_over_on__lte=as_of,
        )
    rows = list(
        back.select_related(
            "job__device__model", "earlier__job", "earlier__fault", "earlier__fix"
        ).order_by("-rework_handed_over_on", "-came_back_on", "-pk")
    )
    for row in rows:
        row.cost = row.cost_on(as_of)
    return rows
