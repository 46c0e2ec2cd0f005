"""The shop's track record of a fix: minutes, comeback risk, turnaround days.

For a large shop this takes a second or more to calculate. It is cached while the data
behind it do not change; a large shop, where one repair changes little, keeps it for the
day.
"""

import math
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import median

import pandas as pd
from django.db.models import Max, Min, Q, Sum
from django.utils import timezone

from repairs.comebacks.cache import cached, fingerprint
from repairs.comebacks.comeback_table import rates_of
from repairs.comebacks.estimate.kaplan_meier import cumulative_hazard
from repairs.comebacks.estimate.posterior import Posterior
from repairs.comebacks.queries import PAIR
from repairs.comebacks.record import count_pairs
from repairs.comebacks.scope import Scope
from repairs.faults.models import Fix
from repairs.jobs import states
from repairs.jobs.models import JobTransition, Labour, Repair
from repairs.knowledge.labour_time import LabourTimes, labour_times
from shopdesk.shop.models import Shop

LARGE = 50_000  # repairs on record; from here on the track record is kept for a day
LATEST = 20_000  # repairs whose minutes are read
MIN_PERIOD, MAX_PERIOD = 7, 730  # days that the comeback table can follow up
MIN_JOBS, MAX_JOBS = 3, 60  # whose days from acceptance to ready are read


@dataclass(frozen=True)
class TrackRecord:
    """The comeback rates and the labour times as of a day."""

    as_of: date
    repairs: int
    hazards: list[float]
    """The shop's cumulative hazard on each day since handover."""
    numbers: dict[tuple[int, int], int]
    """The number of each pair of a fault and a fix."""
    done: list[int]
    """Repairs of each pair."""
    comeback_days: list[list[int]]
    """Days to the comebacks of each pair."""
    posterior: Posterior
    times: LabourTimes

    def hazard(self, days: int) -> float:
        """Return the shop's cumulative hazard by that day.

        Beyond the longest follow-up it is assumed to grow at the same average rate.
        """
        last = len(self.hazards) - 1
        if days <= 0:
            return 0.0
        if days <= last:
            return self.hazards[days]
        return self.hazards[last] * days / last

    def chance(self, fault_id: int, fix_id: int, *, days: int) -> Decimal:
        """Return the comeback risk within `days`; without repairs the shop average."""
        hazard = self.hazard(days)
        number = self.numbers.get((fault_id, fix_id))
        if number is None:
            risk = -math.expm1(-hazard)
        else:
            risk = float(self.posterior.select([number]).risk(hazard)[0])
        return Decimal(f"{risk:.4f}")

    def outcomes(self, fault_id: int, fix_id: int, *, within: int) -> tuple[int, int]:
        """Return how many repairs there are, and how many came back within the days."""
        number = self.numbers.get((fault_id, fix_id))
        if number is None:
            return 0, 0
        comebacks = sum(day <= within for day in self.comeback_days[number])
        return self.done[number], comebacks

    def minutes(self, fault_id: int, fix: Fix) -> int:
        """Return the minutes to plan: the mean, as long repairs cost money, too."""
        return round(self.times.of(fault_id, fix.pk, usual=fix.minutes).mean)


def load_track_record(*, on: date, shop: Shop) -> TrackRecord:
    """Return the track record as of the day `on`."""
    period = _period(shop)
    return cached(
        "track-record",
        (on, period, shop.comeback_period_days),
        lambda: _calculate(on, period, shop),
        fingerprint=fingerprint(shop),
        may_be_old=lambda record: record.repairs >= LARGE,
    )


def _period(shop: Shop) -> int:
    """Return the days to follow up: as long as the longest warranty of the shop."""
    longest = Max("warranty_days", default=0)
    days = (
        shop.comeback_period_days,
        shop.warranty_days_lasting,
        shop.warranty_days_stopgap,
        Fix.objects.filter(is_retired=False).aggregate(days=longest)["days"],
    )
    return max(MIN_PERIOD, min(MAX_PERIOD, max(days)))


def _calculate(on: date, period: int, shop: Shop) -> TrackRecord:
    counted = count_pairs(Scope(as_of=on, within=period))
    counts, pairs = counted.counts, counted.pairs
    estimated = rates_of(
        counts,
        pairs,
        limit=float(shop.max_comeback_risk),
        confidence=float(shop.verdict_confidence),
    )
    hazards = cumulative_hazard(counts).tolist()
    if not hazards[-1]:
        # Without any comeback, no more risk is assumed than the shop accepts. Otherwise
        # a new shop's prices would assume that most of its repairs come back.
        accepted = (
            -math.log1p(-float(shop.max_comeback_risk)) / shop.comeback_period_days
        )
        per_day = min(estimated.shop_hazard / period, accepted)
        hazards = [per_day * day for day in range(period + 1)]
    keys = pairs[[*PAIR]].itertuples(index=False, name=None)
    return TrackRecord(
        as_of=on,
        repairs=int(counts.repairs.sum()),
        hazards=hazards,
        numbers={pair: number for number, pair in enumerate(keys)},
        done=counts.repairs.tolist(),
        comeback_days=[
            [day for day, n in enumerate(events) for _ in range(n)]
            for events in counts.events.tolist()
        ],
        posterior=estimated.posterior,
        times=_labour_times(on),
    )


def _labour_times(on: date) -> LabourTimes:
    rows = list(
        Repair.objects.filter(
            outcome=states.FIXED, handed_over_on__lte=on, fix__isnull=False
        )
        .order_by("-id")
        .values_list("pk", "fault_id", "fix_id", "minutes_from_history")[:LATEST]
    )
    repairs = pd.DataFrame(rows, columns=["repair", "fault", "fix", "minutes"])
    booked = dict(
        Labour.objects.filter(repair__gte=repairs["repair"].min() if rows else 0)
        .order_by()
        .values_list("repair")
        .annotate(n=Sum("minutes"))
    )
    usual = dict(Fix.objects.values_list("pk", "minutes"))
    repairs["minutes"] += repairs["repair"].map(booked).fillna(0)
    return labour_times(repairs.assign(usual=repairs["fix"].map(usual)))


def turnaround_days(fixes: list[Fix]) -> dict[int, int]:
    """Return the median calendar days from acceptance to ready, by fix."""
    result = {}
    for fix in fixes:
        jobs = (
            Repair.objects.filter(fix=fix, outcome=states.FIXED)
            .filter(job__is_from_history=False)
            .order_by("-id")
            .values_list("job", flat=True)[:MAX_JOBS]
        )
        first = {
            name: Min("made_at", filter=Q(to_state=state))
            for name, state in (("approved", states.APPROVED), ("ready", states.READY))
        }
        steps = (
            JobTransition.objects.filter(job__in=list(jobs)).order_by().values("job")
        )
        days = [
            (timezone.localdate(ready) - timezone.localdate(approved)).days
            for approved, ready in steps.annotate(**first).values_list(*first)
            if approved and ready
        ]
        if len(days) >= MIN_JOBS:
            result[fix.pk] = min(365, max(0, math.ceil(median(days))))
    return result
