"""The one door between the database and the reckoning.

Each kind of record is asked for once, however many pairs there are; days become day
numbers here and stay so until a page shows them.
"""

import math
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import chain

import numpy as np
import pandas as pd
from django.db import connection
from django.db.models import (
    Aggregate,
    BigIntegerField,
    Case,
    Count,
    Exists,
    F,
    Func,
    IntegerField,
    Max,
    OuterRef,
    Q,
    Sum,
    TextField,
    Value,
    When,
)
from django.db.models.functions import Cast, Coalesce

from repairs.comebacks.columns import Ended, Fixed, Returned, known_more_of
from repairs.comebacks.pairs import (
    PAIRS,
    ComebackTable,
    comeback_table,
    commonest_declared,
    numbered,
)
from repairs.comebacks.record import FaultRecord, Record
from repairs.comebacks.redo import (
    UNPAID,
    Spent,
    cost_of_redo,
    mean_redo_costs,
    redone_by_pair,
)
from repairs.comebacks.rows import Pair, Row, share
from repairs.comebacks.watch import NEVER, Ints, counted, days_watched
from repairs.customers.models import Device
from repairs.faults.declared import STOPGAP
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Job, Repair, ReturnDecision
from shopdesk.shop.models import Shop

BATCH = 20_000  # rows read at once
DAYS_AT_ONCE = 30  # rows that each hold all repairs of a day


def latest_day(today: date) -> date:
    """The last day that can be asked about: today, or the last day on record.

    A day to come would count repairs as watched on days that have not been.
    """
    last = Job.objects.aggregate(last=Max("handed_back_on"))["last"]
    return max(today, last) if last else today


ALL = Q()  # narrows nothing


def fixed_by(as_of: date, *, only: Q = ALL):
    """The repairs that count: outcome fixed, and handed back on or before the day.

    `only` narrows them further.
    """
    return Repair.objects.filter(
        only, outcome=states.FIXED, job__handed_back_on__lte=as_of
    ).order_by("id")


def same_fault_by(as_of: date):
    """The returns taken for the same fault on that day, one decision a job.

    A decision is never changed, a later one takes its place: of those made by the day
    the last holds, and what was decided later was not known yet.
    """
    later = ReturnDecision.objects.filter(
        job=OuterRef("job"), id__gt=OuterRef("id"), decided_on__lte=as_of
    )
    return ReturnDecision.objects.filter(
        ~Exists(later),
        what=states.SAME_FAULT,
        decided_on__lte=as_of,
        job__booked_in_on__lte=as_of,
    ).order_by("id")


# --- the table ----------------------------------------------------------------


class DayNumber(Func):
    """The number of a day, as date.toordinal() has it: no row needs a date of its own.
    NEVER where there is none.
    """

    output_field = IntegerField()

    def as_sqlite(self, compiler, connection, **context):
        template = (
            f"ifnull(CAST(julianday(%(expressions)s) AS INTEGER)-1721424,{NEVER})"
        )
        return self.as_sql(compiler, connection, template=template, **context)

    def as_postgresql(self, compiler, connection, **context):
        template = f"coalesce(%(expressions)s - DATE '0001-01-01' + 1, {NEVER})"
        return self.as_sql(compiler, connection, template=template, **context)


class Together(Aggregate):
    """Whole numbers in one text, with commas between: a group in one row, not many."""

    output_field = TextField()

    def as_sqlite(self, compiler, connection, **context):
        template = "group_concat(%(expressions)s)"
        return self.as_sql(compiler, connection, template=template, **context)

    def as_postgresql(self, compiler, connection, **context):
        template = "string_agg((%(expressions)s)::text, ',')"
        return self.as_sql(compiler, connection, template=template, **context)


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
    book = Book()
    fixed = _fixed(as_of, book, only)
    number, keys = numbered(fixed.key)
    pairs = book.pairs(keys)
    ages = {"as_of": as_of.toordinal(), "within": within}
    t, d = (np.repeat(of, fixed.many) for of in days_watched(fixed.days, **ages))
    counts = counted(number, t=t, d=d, pairs=len(pairs), within=within)
    del t, d  # a million of each
    # Few were not watched all the time or came back: these are counted again.
    ended, back = _watch_ended(as_of), _returned(as_of)
    seen = known_more_of(fixed, ended, back)
    counts = counts.moved(
        number[seen.at],
        from_=days_watched(seen.handed_back, **ages),
        to=days_watched(
            seen.handed_back,
            watch_ends=seen.watch_ends,
            came_back=seen.came_back,
            **ages,
        ),
    )
    named = book.codes(keys)
    named["declared"] = commonest_declared(
        number,
        is_stopgap=fixed.is_stopgap,
        handed_back=fixed.handed_back,
        pairs=len(pairs),
    )
    at, is_there = fixed.places(back.repair)
    at = at[is_there]
    redone = redone_by_pair(
        number[at],
        visit=back.visit[is_there],
        is_same=book.fault_of(fixed.key[at]) == back.fault[is_there],
        cost=back.cost[is_there],
        pairs=len(pairs),
    )
    is_redone = any(spent.jobs for spent in redone)
    named["mean_redo_cost"] = mean_redo_costs(
        [pair.fault_id for pair in pairs],
        redone=redone,
        done=[] if is_redone else _done(pairs, as_of=as_of, only=only),
        places=shop.places,
    )
    table = comeback_table(
        counts,
        pd.DataFrame(named, columns=list(PAIRS)).astype(PAIRS),
        limit=float(shop.return_limit),
        sureness=float(shop.sureness),
        places=shop.places,
        among=among,
    )
    return Record(table=table, as_of=as_of, pairs=pairs)


class Book:
    """Codes and names of faults and fixes, and one number for each two of them."""

    def __init__(self) -> None:
        self._faults = self._named(Fault)
        self._fixes = self._named(Fix)
        self._width = max(self._fixes, default=0) + 1

    @staticmethod
    def _named(kind) -> dict[int, tuple[str, str]]:
        rows = kind.objects.order_by().values_list("id", "code", "name")
        return {id: (code, name) for id, code, name in rows}

    def key(self):
        """The pair of a repair, by its fault and fix, as the database reckons it."""
        return F("fault_id") * Value(self._width) + F("fix_id")

    def _split(self, keys) -> list[tuple[int, int]]:
        return [divmod(key, self._width) for key in keys.tolist()]

    def fault_of(self, keys: Ints) -> Ints:
        return keys // self._width

    def pairs(self, keys) -> list[Pair]:
        return [
            Pair(fault, fix, self._faults[fault][1], self._fixes[fix][1])
            for fault, fix in self._split(keys)
        ]

    def codes(self, keys) -> dict[str, list]:
        split = self._split(keys)
        return {
            "fault": [self._faults[fault][0] for fault, _ in split],
            "fix": [self._fixes[fix][0] for _, fix in split],
        }


def _fixed(as_of: date, book: Book, only: Q) -> Fixed:
    """The repairs that count. Those of a day come in one row: handing over a row each
    is what would take long of a million.
    """
    rows = (
        fixed_by(as_of, only=only)
        .order_by()
        .values("job__handed_back_on")
        .annotate(
            ids=Together(F("id")),
            said=Together(book.key() * Value(2) + _one_if(declared=STOPGAP)),
        )
        .values_list("job__handed_back_on", "ids", "said")
        .order_by("job__handed_back_on")
    )
    days, ids, said = [], [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for batch in _batches(rows, size=DAYS_AT_ONCE):
        for on, of_ids, of_said in batch:
            ids.append(np.fromstring(of_ids, dtype=np.int64, sep=","))
            said.append(np.fromstring(of_said, dtype=np.int64, sep=","))
            days.append(date.fromisoformat(str(on)).toordinal())
    many = [len(of_day) for of_day in ids[1:]]
    key = np.concatenate(said)
    del said
    is_stopgap = (key & 1).astype(np.int8)
    key >>= 1
    return Fixed(
        days=np.array(days, dtype=np.int64),
        many=np.array(many, dtype=np.int64),
        repair=np.concatenate(ids),
        key=key,
        is_stopgap=is_stopgap,
    )


def _watch_ended(as_of: date) -> Ended:
    # Asked from the devices' side, since few of them are not watched any more.
    rows = Device.objects.filter(watch_ends_on__lt=as_of).order_by()
    columns = rows.values_list(
        Coalesce("jobs__repairs__id", Value(0)), DayNumber("watch_ends_on")
    )
    return Ended(*_columns(columns))


def _returned(as_of: date) -> Returned:
    # What a visit cost is known when it is over.
    is_paid = When(job__handed_back_on__lte=as_of, then="job__repairs__cost")
    columns = (
        same_fault_by(as_of)
        .order_by()
        .values_list(
            "earlier_id",
            "job_id",
            DayNumber("job__booked_in_on"),
            Coalesce("job__repairs__fault_id", Value(0)),
            Coalesce(Cast(Case(is_paid), BigIntegerField()), Value(UNPAID)),
        )
    )
    return Returned(*_columns(columns))


def _one_if(**condition):
    return Case(When(**condition, then=Value(1)), default=Value(0))


def _columns(rows):
    """The columns of many rows of whole numbers."""
    read = [
        np.fromiter(chain.from_iterable(batch), dtype=np.int64).reshape(len(batch), -1)
        for batch in _batches(rows, size=BATCH)
    ]
    if not read:
        width = len(rows.query.values_select) + len(rows.query.annotation_select)
        return np.zeros((width, 0), dtype=np.int64)
    return np.concatenate(read).T


def _batches(rows, *, size: int):
    """Rows straight from the driver: as a query set each number would be asked whether
    it is one, and PostgreSQL would plan for the first rows alone.
    """
    sql, parameters = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        while batch := cursor.fetchmany(size):
            yield batch


def costs_of_visits(jobs: Collection[int], *, as_of: date) -> dict[int, list]:
    """Fault and cost of each repair on these visits, if over by the day, by job."""
    rows = Repair.objects.filter(
        job__in=jobs, job__handed_back_on__lte=as_of, cost__isnull=False
    ).values_list("job_id", "fault_id", "cost")
    visits = defaultdict(list)
    for job, fault, cost in rows:
        visits[job].append((fault, cost))
    return visits


def _done(pairs: list[Pair], *, as_of: date, only: Q) -> list[Spent]:
    """What the repairs of each pair cost in the first place."""
    sums = (
        fixed_by(as_of, only=only)
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


def repairs_behind(
    fault: Fault, fix: Fix, *, as_of: date, within: int, only: Q = ALL
) -> list[Behind]:
    """The repairs that one row counts: comebacks first, then the latest handed back."""
    repairs = list(
        fixed_by(as_of, only=only)
        .filter(fault=fault, fix=fix)
        .select_related("job__device__model", "job__customer")
    )
    decisions = same_fault_by(as_of).filter(earlier__fault=fault, earlier__fix=fix)
    first: dict[int, Job] = {}
    for decision in decisions.select_related("job").order_by("-job__booked_in_on"):
        first[decision.earlier_id] = decision.job
    visits = costs_of_visits([job.pk for job in first.values()], as_of=as_of)
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
