"""The one door between the database and the reckoning.

Each kind of record is asked for once, however many pairs there are; days become day
numbers here and stay so until a page shows them.
"""

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd
from django.db.models import Count, Max, Q, Sum

from repairs.comebacks.pairs import (
    PAIRS,
    comeback_table,
    commonest_declared,
    numbered,
)
from repairs.comebacks.record import FaultRecord, Record
from repairs.comebacks.redo import (
    Spent,
    cost_of_redo,
    in_order_of_pairs,
    mean_redo_costs,
)
from repairs.comebacks.rows import Pair, Row, share
from repairs.comebacks.watch import NEVER, counted, days_watched
from repairs.faults.declared import STOPGAP
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Job, Repair, ReturnDecision
from shopdesk.shop.models import Shop


def latest_day(today: date) -> date:
    """The last day that can be asked about: today, or the last day on record.

    A day to come would count repairs as watched on days that have not been.
    """
    last = Job.objects.aggregate(last=Max("handed_back_on"))["last"]
    return max(today, last) if last else today


def fixed_by(as_of: date):
    """The repairs that count: outcome fixed, and handed back on or before the day."""
    return Repair.objects.filter(
        outcome=states.FIXED, job__handed_back_on__lte=as_of
    ).order_by("id")


def same_fault_by(as_of: date):
    """The returns taken for the same fault on that day, one decision a job.

    A decision is never changed, a later one takes its place: of those made by the day
    the last holds, and what was decided later was not known yet.
    """
    last = (
        ReturnDecision.objects.filter(decided_on__lte=as_of)
        .order_by()
        .values("job")
        .annotate(last=Max("id"))
        .values("last")
    )
    return ReturnDecision.objects.filter(
        id__in=last, what=states.SAME_FAULT, job__booked_in_on__lte=as_of
    ).order_by("id")


# --- the table ----------------------------------------------------------------


def comeback_record(*, as_of: date, within: int, shop: Shop) -> Record:
    """The comeback table of the whole shop as it was known on the day `as_of`."""
    repairs = _repairs(as_of)
    returns = _returns(as_of)
    number, keys = numbered(repairs["fault"].to_numpy(), repairs["fix"].to_numpy())
    pairs, named = _named(keys.tolist())
    first_back = returns.groupby("repair")["day"].min()
    t, d = days_watched(
        repairs["handed_back"].to_numpy(),
        came_back=first_back.reindex(repairs["id"], fill_value=NEVER).to_numpy(),
        watch_ends=repairs["watch_ends"].to_numpy(),
        as_of=as_of.toordinal(),
        within=within,
    )
    named["declared"] = commonest_declared(
        number,
        is_stopgap=repairs["is_stopgap"].to_numpy(),
        handed_back=repairs["handed_back"].to_numpy(),
        pairs=len(pairs),
    )
    pair_of = dict(zip(repairs["id"].tolist(), number.tolist(), strict=True))
    named["mean_redo_cost"] = mean_redo_costs(
        [pair.fault_id for pair in pairs],
        redone=in_order_of_pairs(
            _redone(returns, pair_of=pair_of, as_of=as_of), pairs=len(pairs)
        ),
        done=_done(pairs, as_of=as_of),
        places=shop.places,
    )
    table = comeback_table(
        counted(number, t=t, d=d, pairs=len(pairs), within=within),
        pd.DataFrame(named, columns=list(PAIRS)).astype(PAIRS),
        limit=float(shop.return_limit),
        sureness=float(shop.sureness),
        places=shop.places,
    )
    return Record(table=table, as_of=as_of, pairs=pairs)


def _whole_numbers(rows, columns: list[str]) -> pd.DataFrame:
    return pd.DataFrame.from_records(list(rows), columns=columns).astype("int64")


def _repairs(as_of: date) -> pd.DataFrame:
    rows = fixed_by(as_of).values_list(
        "id",
        "fault_id",
        "fix_id",
        "declared",
        "job__handed_back_on",
        "job__device__watch_ends_on",
    )
    return _whole_numbers(
        (
            (id, fault, fix, said == STOPGAP, on.toordinal(), _ordinal(ends))
            for id, fault, fix, said, on, ends in rows
        ),
        ["id", "fault", "fix", "is_stopgap", "handed_back", "watch_ends"],
    )


def _returns(as_of: date) -> pd.DataFrame:
    rows = same_fault_by(as_of).values_list(
        "earlier_id", "earlier__fault_id", "job_id", "job__booked_in_on"
    )
    return _whole_numbers(
        ((repair, fault, job, on.toordinal()) for repair, fault, job, on in rows),
        ["repair", "fault", "job", "day"],
    )


def _ordinal(day: date | None) -> int:
    return day.toordinal() if day else NEVER


def _named(keys: list[tuple[int, int]]) -> tuple[list[Pair], dict]:
    """The pairs with their names, and the columns of their codes."""
    faults = {id: (code, name) for id, code, name in _book(Fault)}
    fixes = {id: (code, name) for id, code, name in _book(Fix)}
    pairs = [Pair(a, b, faults[a][1], fixes[b][1]) for a, b in keys]
    codes = {
        "fault": [faults[fault][0] for fault, _ in keys],
        "fix": [fixes[fix][0] for _, fix in keys],
    }
    return pairs, codes


def _book(kind):
    return kind.objects.order_by().values_list("id", "code", "name")


def _redone(
    returns: pd.DataFrame, *, pair_of: dict[int, int], as_of: date
) -> dict[int, Spent]:
    """What the comebacks of each pair have cost, of visits handed back by the day."""
    visits = costs_of_visits(as_of)
    spent: defaultdict[int, Spent] = defaultdict(Spent)
    for repair, fault, job, _ in returns.itertuples(index=False, name=None):
        cost = cost_of_redo(visits.get(job, []), fault=fault)
        if cost is not None and repair in pair_of:
            spent[pair_of[repair]] += Spent(cost, 1)
    return spent


def costs_of_visits(as_of: date) -> dict[int, list[tuple[int, Decimal]]]:
    """Fault and cost of each repair on the visits that were comebacks, by job."""
    rows = Repair.objects.filter(
        job__in=same_fault_by(as_of).order_by().values("job"),
        job__handed_back_on__lte=as_of,
        cost__isnull=False,
    ).values_list("job_id", "fault_id", "cost")
    visits = defaultdict(list)
    for job, fault, cost in rows:
        visits[job].append((fault, cost))
    return visits


def _done(pairs: list[Pair], *, as_of: date) -> list[Spent]:
    """What the repairs of each pair cost in the first place."""
    sums = (
        fixed_by(as_of)
        .order_by()
        .values("fault_id", "fix_id")
        .annotate(total=Sum("cost"), jobs=Count("cost"))
        .values_list("fault_id", "fix_id", "total", "jobs")
    )
    spent = {
        (fault, fix): Spent(total or Decimal(0), n) for fault, fix, total, n in sums
    }
    return [spent.get((pair.fault_id, pair.fix_id), Spent()) for pair in pairs]


# --- one fault, and one pair --------------------------------------------------


@dataclass(frozen=True)
class Beside:
    """A fix of one fault beside the others; `row` is None where it was never done."""

    fix: Fix
    row: Row | None
    chance_to_beat: float

    @property
    def beats_said(self) -> str:
        """How probable it is that this fix holds better than the best of the others."""
        return "" if math.isnan(self.chance_to_beat) else share(self.chance_to_beat)


def fixes_beside(fault: Fault, record: FaultRecord) -> list[Beside]:
    """Fixes done for this fault, then those the fault book names for it besides."""
    done = {row.pair.fix_id: row for row in record.rows}
    known = Fix.objects.filter(
        Q(id__in=done) | Q(faults=fault, is_retired=False)
    ).distinct()
    return sorted(
        (
            Beside(fix, done.get(fix.pk), record.chance_to_beat.get(fix.pk, math.nan))
            for fix in known
        ),
        key=lambda beside: beside.row.risk if beside.row else 2.0,
    )


@dataclass(frozen=True)
class Behind:
    """One repair behind a row of the table, and what became of it."""

    repair: Repair
    days: int
    is_back: bool
    comeback: Job | None
    cost: Decimal | None
    within: int

    @property
    def job(self) -> Job:
        return self.repair.job

    @property
    def became(self) -> str:
        if self.is_back:
            return "comeback"
        return "held" if self.days >= self.within else "still watched"


def repairs_behind(fault: Fault, fix: Fix, *, as_of: date, within: int) -> list[Behind]:
    """The repairs that one row counts: comebacks first, then the latest handed back."""
    repairs = list(
        fixed_by(as_of)
        .filter(fault=fault, fix=fix)
        .select_related("job__device__model", "job__customer")
    )
    decisions = same_fault_by(as_of).filter(earlier__fault=fault, earlier__fix=fix)
    visits = costs_of_visits(as_of)
    first: dict[int, Job] = {}
    for decision in decisions.select_related("job").order_by("-job__booked_in_on"):
        first[decision.earlier_id] = decision.job
    t, d = days_watched(
        np.array([r.job.handed_back_on.toordinal() for r in repairs], dtype=np.int64),
        came_back=np.array(
            [
                _ordinal(first[r.pk].booked_in_on if r.pk in first else None)
                for r in repairs
            ],
            dtype=np.int64,
        ),
        watch_ends=np.array(
            [_ordinal(r.job.device.watch_ends_on) for r in repairs], dtype=np.int64
        ),
        as_of=as_of.toordinal(),
        within=within,
    )
    behind = [
        Behind(
            repair=repair,
            days=int(days),
            is_back=bool(is_back),
            comeback=first.get(repair.pk),
            cost=cost_of_redo(visits.get(first[repair.pk].pk, []), fault=fault.pk)
            if repair.pk in first
            else None,
            within=within,
        )
        for repair, days, is_back in zip(repairs, t, d, strict=True)
    ]
    latest = date.max.toordinal()
    return sorted(
        behind,
        key=lambda b: (
            not b.is_back,
            latest - b.job.handed_back_on.toordinal(),
            b.job.pk,
        ),
    )
