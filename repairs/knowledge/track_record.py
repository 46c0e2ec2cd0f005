"""What the shop's record says of a fix: its minutes, its chance to come back, its days.

To reckon all this takes a second or more of a large shop. It is kept with its
fingerprint; a large shop, where one repair more says little, keeps it for the day.
"""

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import median

from django.core.cache import cache
from django.db.models import Max, Sum
from django.utils import timezone

from repairs.comebacks.asked import Asked
from repairs.comebacks.baseline import cumulative_hazard
from repairs.comebacks.context import fingerprint, record_of
from repairs.comebacks.posterior import Posterior
from repairs.faults.models import Fix
from repairs.jobs import states
from repairs.jobs.labour_time import LabourTimes, Timed, labour_times
from repairs.jobs.models import Labour, Repair, Step
from shopdesk.shop.models import Shop

PLACE = "track-record"
DAY = 24 * 3600
LARGE = 50_000  # repairs on record, from which on it is kept for the day
LATEST = 20_000  # repairs whose minutes are asked
LONGEST = 730  # days that the comeback table can watch
FEW_JOBS, MANY_JOBS = 3, 60  # whose days from yes to ready are asked


@dataclass(frozen=True)
class TrackRecord:
    """The comeback table and the labour times, as they were known on a day."""

    as_of: date
    repairs: int
    hazards: list[float]
    """The shop's own, on each day since it was handed back."""
    numbers: dict[tuple[int, int], int]
    done: list[int]
    back: list[list[int]]
    """Days after which each pair came back."""
    posterior: Posterior
    times: LabourTimes

    def has(self, fault_id: int, fix_id: int) -> bool:
        return (fault_id, fix_id) in self.numbers

    def hazard(self, days: int) -> float:
        """The shop's own by that day; beyond what is watched it grows as it did."""
        last = len(self.hazards) - 1
        if days <= 0:
            return 0.0
        if days <= last:
            return self.hazards[days]
        return self.hazards[last] * days / last

    def chance(self, fault_id: int, fix_id: int, *, days: int) -> Decimal:
        """That it comes back within `days`; of a fix never done, as any of the shop."""
        hazard = self.hazard(days)
        number = self.numbers.get((fault_id, fix_id))
        if number is None:
            chance = -math.expm1(-hazard)
        else:
            chance = float(self.posterior.of([number]).chance(hazard)[0])
        return Decimal(f"{chance:.4f}")

    def outcomes(self, fault_id: int, fix_id: int, *, within: int) -> tuple[int, int]:
        """Return how often it was done, and came back within so many days."""
        number = self.numbers.get((fault_id, fix_id))
        if number is None:
            return 0, 0
        return self.done[number], sum(day <= within for day in self.back[number])

    def minutes(self, fault_id: int, fix: Fix) -> int:
        """The minutes to plan: the mean, since the dear ones must be paid for, too."""
        return round(self.times.of(fault_id, fix.pk, usual=fix.minutes).mean)


def load_track_record(*, on: date, shop: Shop) -> TrackRecord:
    """What is known on the day `on`, reckoned anew where it changed."""
    longest = _longest_cover(shop)
    asked = (on, longest, shop.comeback_period_days)
    seen = (asked, fingerprint(shop))
    found = cache.get(PLACE)
    if found is not None:
        (found_asked, _), known = found
        is_kept = known.repairs >= LARGE and found_asked == asked
        if is_kept or found[0] == seen:
            return known
    known = _reckoned(on, longest, shop)
    cache.set(PLACE, (seen, known), DAY)
    return known


def _longest_cover(shop: Shop) -> int:
    """Days to watch: as long as anything the shop promises."""
    promised = Fix.objects.filter(is_retired=False).aggregate(n=Max("warranty_days"))[
        "n"
    ]
    days = (
        shop.comeback_period_days,
        shop.warranty_days_lasting,
        shop.warranty_days_stopgap,
        promised or 0,
    )
    return max(7, min(LONGEST, max(days)))


def _reckoned(on: date, within: int, shop: Shop) -> TrackRecord:
    record = record_of(Asked(as_of=on, within=within), shop=shop)
    table = record.table
    hazards = cumulative_hazard(table.counts).tolist()
    if not hazards[-1]:
        # No comeback was ever seen. Until one is, no more is held likely than the shop
        # puts up with, or a new shop would price as if most of its work came back.
        accepted = (
            -math.log1p(-float(shop.max_comeback_risk)) / shop.comeback_period_days
        )
        a_day = min(table.hazard / within, accepted)
        hazards = [a_day * day for day in range(within + 1)]
    back = [
        [day for day, n in enumerate(row) for _ in range(n)]
        for row in table.counts.back.tolist()
    ]
    numbers = {(p.fault_id, p.fix_id): n for n, p in enumerate(record.pairs)}
    return TrackRecord(
        as_of=on,
        repairs=record.repairs,
        hazards=hazards,
        numbers=numbers,
        done=table.counts.repairs.tolist(),
        back=back,
        posterior=table.posterior,
        times=labour_times(_timed(on)),
    )


def _timed(on: date) -> list[Timed]:
    """The latest repairs with the minutes they took."""
    rows = list(
        Repair.objects.filter(
            outcome=states.FIXED, handed_over_on__lte=on, fix__isnull=False
        )
        .order_by("-id")
        .values_list("pk", "fault_id", "fix_id", "minutes_from_history")[:LATEST]
    )
    if not rows:
        return []
    usual = dict(Fix.objects.values_list("pk", "minutes"))
    booked = dict(
        Labour.objects.filter(repair__gte=rows[-1][0])
        .order_by()
        .values_list("repair")
        .annotate(n=Sum("minutes"))
    )
    return [
        Timed(fault, fix, told + booked.get(pk, 0), usual[fix])
        for pk, fault, fix, told in rows
    ]


def turnaround_days(fixes: list[Fix]) -> dict[int, int]:
    """Calendar days from the yes to ready that each fix took, by the median of late."""
    found = {}
    for fix in fixes:
        jobs = (
            Repair.objects.filter(fix=fix, outcome=states.FIXED)
            .filter(job__is_from_history=False)
            .order_by("-id")
            .values_list("job", flat=True)[:MANY_JOBS]
        )
        moments = defaultdict(dict)
        steps = Step.objects.filter(
            job__in=list(jobs), new__in=[states.APPROVED, states.READY]
        )
        for job, new, at in steps.order_by("id").values_list("job", "new", "made_at"):
            moments[job].setdefault(new, timezone.localtime(at).date())
        took = [
            (days[states.READY] - days[states.APPROVED]).days
            for days in moments.values()
            if len(days) == 2
        ]
        if len(took) >= FEW_JOBS:
            found[fix.pk] = min(365, max(0, math.ceil(median(took))))
    return found
