"""The comeback table as the database knows it, and what stands behind its rows.

Days become day numbers here and stay so until a page shows them.
"""

import math
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd
from django.db.models import Q

from repairs.comebacks.columns import (
    Fixed,
    Known,
    Numbers,
    known_more_of,
    only_old_and_even,
    watched_so_far,
)
from repairs.comebacks.counted.queries import (
    ALL,
    Book,
    comebacks_by,
    done,
    fixed,
    fixed_by,
    last_days,
    returned,
    watch_ended,
)
from repairs.comebacks.pairs import (
    PAIRS,
    ComebackTable,
    comeback_table,
    commonest_declared,
)
from repairs.comebacks.record import FaultRecord, Record
from repairs.comebacks.redo import mean_redo_costs, redone_by_pair
from repairs.comebacks.rows import Row, share
from repairs.comebacks.watch import NEVER, Counts, Ints, days_watched
from repairs.faults.models import Fault, Fix
from repairs.jobs.models import Comeback, Job, Repair
from shopdesk.shop.models import Shop


def comeback_record(
    *,
    as_of: date,
    within: int,
    shop: Shop,
    only: Q = ALL,
    among: ComebackTable | None = None,
) -> Record:
    """The comeback table of the whole shop as it was known on the day `as_of`.

    With `only`, of those repairs alone, drawn towards what `among` knows of all.
    """
    # Few were not watched all the time or came back. These are asked for first, so that
    # what is written meanwhile is not missing among all.
    back, ended = returned(as_of, only=only), watch_ended(as_of, only=only)
    known = fixed(as_of, within=within, only=only)
    numbers = Numbers.of(known.fault, known.fix)
    book = Book()
    pairs = book.pairs(numbers)
    number, _ = numbers.number(known.fault, known.fix)
    counts = watched_so_far(known, number=number, pairs=len(pairs), within=within)
    counts = _counted_again(
        counts, known_more_of(ended, back), numbers=numbers, as_of=as_of
    )
    named = book.codes(numbers)
    named["declared"] = commonest_declared(
        number,
        is_stopgap=known.is_stopgap,
        many=known.many,
        handed_back=_last_where_it_matters(known, number, as_of=as_of, only=only),
        pairs=len(pairs),
    )
    of_pair, is_there = numbers.number(back.fault, back.fix)
    redone = redone_by_pair(
        of_pair[is_there], cost=back.cost[is_there], pairs=len(pairs)
    )
    is_reworked = any(spent.jobs for spent in redone)
    named["mean_redo_cost"] = mean_redo_costs(
        [pair.fault_id for pair in pairs],
        redone=redone,
        done=[] if is_reworked else done(pairs, as_of=as_of, only=only),
        places=shop.places,
    )
    table = comeback_table(
        counts,
        pd.DataFrame(named, columns=list(PAIRS)).astype(PAIRS),
        limit=float(shop.max_comeback_risk),
        verdict_confidence=float(shop.verdict_confidence),
        places=shop.places,
        among=among,
    )
    return Record(table=table, as_of=as_of, pairs=pairs)


def _last_where_it_matters(known: Fixed, number: Ints, *, as_of: date, only: Q) -> Ints:
    """The day of the last repair of each row, asked for only where it may decide."""
    last = known.last(as_of=as_of.toordinal())
    pairs = int(number.max(initial=-1)) + 1
    rows = np.flatnonzero(only_old_and_even(known, number=number, pairs=pairs))
    if len(rows):
        which = np.stack([known.fault, known.fix, known.is_stopgap], axis=1)[rows]
        last[rows] = last_days(which.tolist(), as_of=as_of, only=only)
    return last


def _counted_again(
    counts: Counts, known: Known, *, numbers: Numbers, as_of: date
) -> Counts:
    """The counts where more is known of some repairs than that they were watched."""
    number, is_there = numbers.number(known.fault, known.fix)
    known = Known(*(column[is_there] for column in known))
    asked = {"as_of": as_of.toordinal(), "within": counts.within}
    return counts.moved(
        number[is_there],
        from_=days_watched(known.handed_back, **asked),
        to=days_watched(
            known.handed_back,
            watch_ends=known.watch_ends,
            came_back=known.came_back,
            **asked,
        ),
    )


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


def _ordinal(day: date | None) -> int:
    return day.toordinal() if day else NEVER


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


def first_comebacks(comebacks) -> dict[int, Comeback]:
    """Of each repair that came back its first comeback, by the repair's id."""
    found = comebacks.select_related("job").order_by("-came_back_on", "-job_id")
    return {comeback.earlier_id: comeback for comeback in found}


def repairs_behind(
    fault: Fault, fix: Fix, *, as_of: date, within: int, only: Q = ALL
) -> list[Behind]:
    """The repairs that one row counts: comebacks first, then the latest handed back."""
    repairs = list(
        fixed_by(as_of, only=only)
        .filter(fault=fault, fix=fix)
        .select_related("job__device__model", "job__customer")
    )
    first = first_comebacks(comebacks_by(as_of).filter(fault=fault, fix=fix))
    t, d = days_watched(
        np.array([r.job.handed_over_on.toordinal() for r in repairs], dtype=np.int64),
        came_back=np.array(
            [
                _ordinal(first[r.pk].came_back_on if r.pk in first else None)
                for r in repairs
            ],
            dtype=np.int64,
        ),
        watch_ends=np.array(
            [_ordinal(r.job.device.out_of_use_on) for r in repairs], dtype=np.int64
        ),
        as_of=as_of.toordinal(),
        within=within,
    )
    behind = [
        Behind(
            repair=repair,
            days=int(days),
            is_back=bool(is_back),
            comeback=first[repair.pk].job if repair.pk in first else None,
            cost=first[repair.pk].cost_on(as_of) if repair.pk in first else None,
            within=within,
        )
        for repair, days, is_back in zip(repairs, t, d, strict=True)
    ]
    latest = date.max.toordinal()
    return sorted(
        behind,
        key=lambda b: (
            not b.is_back,
            latest - b.job.handed_over_on.toordinal(),
            b.job.pk,
        ),
    )
