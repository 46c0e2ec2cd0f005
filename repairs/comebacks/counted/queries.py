"""What the database counts for the comeback table, and hands over as whole numbers.

It is asked for each kind of thing once, however many pairs there are. A repair that was
handed back longer ago than the horizon is one of so many of its pair: a million rows
stay where they are, in an index of all that is asked of them.
"""

from datetime import date, timedelta
from decimal import Decimal
from itertools import chain

import numpy as np
from django.db import connection
from django.db.models import (
    Aggregate,
    BigIntegerField,
    Case,
    Count,
    Func,
    IntegerField,
    Max,
    Q,
    Sum,
    TextField,
    Value,
    When,
)
from django.db.models.functions import Cast, Coalesce

from repairs.comebacks.columns import Ended, Fixed, Numbers, Returned
from repairs.comebacks.redo import UNPAID, Spent
from repairs.comebacks.rows import Pair
from repairs.comebacks.watch import NEVER, Ints
from repairs.customers.models import Device
from repairs.faults.declared import STOPGAP
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Comeback, Job, Repair

BATCH = 20_000  # rows read at once
MOST_NAMED = 1_000  # faults named in one question
NONE = ((),) * 5  # columns of no rows


def latest_day(today: date) -> date:
    """The last day that can be asked about: today, or the last day on record.

    A day to come would count repairs as watched on days that have not been.
    """
    last = Job.objects.aggregate(last=Max("handed_over_on"))["last"]
    return max(today, last) if last else today


ALL = Q()  # narrows nothing


def fixed_by(as_of: date, *, only: Q = ALL):
    """The repairs that count: outcome fixed, and handed back on or before the day.

    `only` narrows them further.
    """
    return Repair.objects.filter(
        only, outcome=states.FIXED, handed_over_on__lte=as_of
    ).order_by("id")


def comebacks_by(as_of: date, *, only: Q = ALL):
    """The comebacks known by that day, of the repairs that count."""
    back = Comeback.objects.recorded_on(as_of)
    return back.filter(earlier__in=Repair.objects.filter(only)) if only else back


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


class Book:
    """Codes and names of faults and fixes."""

    def __init__(self) -> None:
        self._faults = self._named(Fault)
        self._fixes = self._named(Fix)

    @staticmethod
    def _named(kind) -> dict[int, tuple[str, str]]:
        rows = kind.objects.order_by().values_list("id", "code", "name")
        return {id: (code, name) for id, code, name in rows}

    def pairs(self, numbers: Numbers) -> list[Pair]:
        return [
            Pair(fault, fix, self._faults[fault][1], self._fixes[fix][1])
            for fault, fix in self._both(numbers)
        ]

    def codes(self, numbers: Numbers) -> dict[str, list[str]]:
        both = list(self._both(numbers))
        return {
            "fault": [self._faults[fault][0] for fault, _ in both],
            "fix": [self._fixes[fix][0] for _, fix in both],
        }

    @staticmethod
    def _both(numbers: Numbers):
        return zip(numbers.fault.tolist(), numbers.fix.tolist(), strict=True)


def fixed(as_of: date, *, within: int, only: Q = ALL) -> Fixed:
    """The repairs that count, a row for each pair and what was declared of it."""
    horizon = as_of - timedelta(days=within)
    is_young = Q(handed_over_on__gt=horizon)
    age = Value(as_of.toordinal()) - DayNumber("handed_over_on")
    rows = (
        fixed_by(as_of, only=only)
        .order_by()
        .values("fault_id", "fix_id", "declared")
        .annotate(
            many=Count("*"),
            ages=Together(Case(When(is_young, then=age))),
        )
        .values_list("fault_id", "fix_id", "declared", "many", "ages")
    )
    read = list(chain.from_iterable(batches(rows, size=BATCH)))
    fault, fix, said, many, ages = zip(*read, strict=True) if read else NONE
    young = _whole([of.count(",") + 1 if of else 0 for of in ages])
    return Fixed(
        fault=_whole(fault),
        fix=_whole(fix),
        is_stopgap=_whole([declared == STOPGAP for declared in said]),
        old=_whole(many) - young,
        young=young,
        ages=np.fromstring(",".join(filter(None, ages)), dtype=np.int64, sep=","),
    )


def last_days(which: list[list[int]], *, as_of: date, only: Q = ALL) -> Ints:
    """The day on which the last repair of each fault, fix and word was handed back,
    the word as one if it is stopgap.
    """
    faults = {fault for fault, _, _ in which}
    if len(faults) <= MOST_NAMED:
        only &= Q(fault__in=faults)
    rows = (
        fixed_by(as_of, only=only)
        .order_by()
        .values("fault_id", "fix_id", "declared")
        .annotate(last=DayNumber(Max("handed_over_on")))
        .values_list("fault_id", "fix_id", "declared", "last")
    )
    last: dict[tuple[int, int, bool], int] = {}
    for fault, fix, said, day in rows:
        key = (fault, fix, said == STOPGAP)
        last[key] = max(day, last.get(key, 0))
    return _whole([last.get((fault, fix, said == 1), 0) for fault, fix, said in which])


def watch_ended(as_of: date, *, only: Q = ALL) -> Ended:
    """Those that count, on devices that were no longer watched on that day."""
    # Asked from the devices' side, and of all their repairs: few are not watched any
    # more, and a database might begin with the million that are fixed.
    counts = Q(
        jobs__repairs__outcome=states.FIXED, jobs__repairs__handed_over_on__lte=as_of
    )
    if only:
        counts &= Q(jobs__repairs__in=Repair.objects.filter(only).order_by())
    rows = Device.objects.filter(out_of_use_on__lt=as_of).order_by()
    ended = columns(
        rows.values_list(
            Case(When(counts, then="jobs__repairs__id"), default=0),
            Coalesce("jobs__repairs__fault_id", Value(0)),
            Coalesce("jobs__repairs__fix_id", Value(0)),
            DayNumber("jobs__repairs__handed_over_on"),
            DayNumber("out_of_use_on"),
        )
    )
    return Ended(*ended[:, ended[0] > 0])


def returned(as_of: date, *, only: Q = ALL) -> Returned:
    """The comebacks of those that count."""
    # What a visit cost is known when it is over.
    paid = Case(
        When(rework_handed_over_on__lte=as_of, then=Cast("cost", BigIntegerField()))
    )
    return Returned(
        *columns(
            comebacks_by(as_of, only=only).values_list(
                "earlier_id",
                "fault_id",
                "fix_id",
                DayNumber("handed_over_on"),
                DayNumber("came_back_on"),
                Coalesce(paid, Value(UNPAID)),
            )
        )
    )


def done(pairs: list[Pair], *, as_of: date, only: Q = ALL) -> list[Spent]:
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


def _whole(numbers) -> Ints:
    return np.array(numbers, dtype=np.int64)


def columns(rows):
    """The columns of many rows of whole numbers."""
    read = [
        np.fromiter(chain.from_iterable(batch), dtype=np.int64).reshape(len(batch), -1)
        for batch in batches(rows, size=BATCH)
    ]
    if not read:
        width = len(rows.query.values_select) + len(rows.query.annotation_select)
        return np.zeros((width, 0), dtype=np.int64)
    return np.concatenate(read).T


def batches(rows, *, size: int):
    """Rows straight from the driver: as a query set each number would be asked whether
    it is one, and PostgreSQL would plan for the first rows alone.
    """
    sql, parameters = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        while batch := cursor.fetchmany(size):
            yield batch
