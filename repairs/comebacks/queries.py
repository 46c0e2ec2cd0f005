"""The database queries of the comeback table, which return whole numbers.

Each kind of record is queried once, for any number of pairs. Repairs handed over before
the period began are counted in the database, from one index that holds all columns
needed, so that a million rows are not loaded. Days are ordinals.
"""

from datetime import date, timedelta
from itertools import chain

import numpy as np
import pandas as pd
from django.db import connections
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

from repairs.comebacks.watch import NOT_OBSERVED
from repairs.customers.models import Device
from repairs.faults.fix_types import STOPGAP
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Comeback, Job, Repair

UNPAID = -1  # a cost that is not known yet
BATCH = 20_000  # rows read at once
PAIR = ("fault_id", "fix_id")
ALL = Q()


def latest_day(today: date) -> date:
    """Return the last date that can be reported: today, or the last day on record.

    A later one would count follow-up on days that have not happened.
    """
    last = Job.objects.aggregate(last=Max("handed_over_on"))["last"]
    return max(today, last) if last else today


def fixed_by(as_of: date, *, only: Q = ALL):
    """Return the repairs that count: fixed, and handed over on or before the day."""
    return Repair.objects.filter(
        only, outcome=states.FIXED, handed_over_on__lte=as_of
    ).order_by("id")


def comebacks_by(as_of: date, *, only: Q = ALL):
    """Return the comebacks recorded by that day, of the repairs that count."""
    back = Comeback.objects.recorded_on(as_of)
    return back.filter(earlier__in=Repair.objects.filter(only)) if only else back


# --- the table ----------------------------------------------------------------


class DayNumber(Func):
    """A date as `date.toordinal()` gives it; NOT_OBSERVED if there is none.

    No row needs a date object.
    """

    output_field = IntegerField()

    def as_sqlite(self, compiler, connection, **context):
        template = (
            "ifnull(CAST(julianday(%(expressions)s) AS INTEGER)-1721424,"
            f"{NOT_OBSERVED})"
        )
        return self.as_sql(compiler, connection, template=template, **context)

    def as_postgresql(self, compiler, connection, **context):
        template = f"coalesce(%(expressions)s - DATE '0001-01-01' + 1, {NOT_OBSERVED})"
        return self.as_sql(compiler, connection, template=template, **context)


class JoinedNumbers(Aggregate):
    """Whole numbers of a group in one text, separated by commas."""

    output_field = TextField()

    def as_sqlite(self, compiler, connection, **context):
        template = "group_concat(%(expressions)s)"
        return self.as_sql(compiler, connection, template=template, **context)

    def as_postgresql(self, compiler, connection, **context):
        template = "string_agg((%(expressions)s)::text, ',')"
        return self.as_sql(compiler, connection, template=template, **context)


def fixed_repairs(as_of: date, *, within: int, only: Q = ALL) -> pd.DataFrame:
    """Return the repairs that count, a row for each pair and recorded type.

    Columns: fault_id, fix_id, is_stopgap, repairs, last (handover), and ages, a text
    with the days since handover of those within the period.
    """
    is_young = Q(handed_over_on__gt=as_of - timedelta(days=within))
    age = Value(as_of.toordinal()) - DayNumber("handed_over_on")
    rows = (
        fixed_by(as_of, only=only)
        .order_by()
        .values("fault_id", "fix_id", "fix_type")
        .annotate(
            repairs=Count("*"),
            last=DayNumber(Max("handed_over_on")),
            ages=JoinedNumbers(Case(When(is_young, then=age))),
        )
        .values_list("fault_id", "fix_id", "fix_type", "repairs", "last", "ages")
    )
    frame = pd.DataFrame(
        chain.from_iterable(batches(rows, size=BATCH)),
        columns=[*PAIR, "is_stopgap", "repairs", "last", "ages"],
    )
    frame["is_stopgap"] = frame["is_stopgap"] == STOPGAP
    return frame.astype({name: "int64" for name in (*PAIR, "repairs", "last")})


def name_pairs(pairs: pd.DataFrame) -> pd.DataFrame:
    """Return the pairs with the codes and names of their fault and fix."""
    for name, model in (("fault", Fault), ("fix", Fix)):
        rows = model.objects.order_by().values_list("id", "code", "name")
        book = pd.DataFrame(rows, columns=[f"{name}_id", name, f"{name}_name"])
        pairs = pairs.merge(book.astype({f"{name}_id": "int64"}), how="left")
    return pairs


def out_of_use(as_of: date, *, only: Q = ALL) -> pd.DataFrame:
    """Return the repairs that count on devices out of use before that day."""
    # Starts from the devices: few are out of use. Otherwise a database might begin with
    # the million repairs that are fixed.
    counts = Q(
        jobs__repairs__outcome=states.FIXED, jobs__repairs__handed_over_on__lte=as_of
    )
    if only:
        counts &= Q(jobs__repairs__in=Repair.objects.filter(only).order_by())
    rows = Device.objects.filter(out_of_use_on__lt=as_of).order_by()
    frame = read(
        rows.values_list(
            Case(When(counts, then="jobs__repairs__id"), default=0),
            Coalesce("jobs__repairs__fault_id", Value(0)),
            Coalesce("jobs__repairs__fix_id", Value(0)),
            DayNumber("jobs__repairs__handed_over_on"),
            DayNumber("out_of_use_on"),
        ),
        ["repair", *PAIR, "handed_over", "out_of_use"],
    )
    return frame[frame["repair"] > 0]


def comeback_rows(as_of: date, *, only: Q = ALL) -> pd.DataFrame:
    """Return the comebacks of the repairs that count; `repair` is the earlier one.

    The cost of a visit is known once it was handed over.
    """
    # The cost of a visit is known when it is over.
    paid = Case(
        When(rework_handed_over_on__lte=as_of, then=Cast("cost", BigIntegerField()))
    )
    return read(
        comebacks_by(as_of, only=only).values_list(
            "earlier_id",
            *PAIR,
            DayNumber("handed_over_on"),
            DayNumber("came_back_on"),
            Coalesce(paid, Value(UNPAID)),
        ),
        ["repair", *PAIR, "handed_over", "came_back", "cost"],
    )


def repair_costs(as_of: date, *, only: Q = ALL) -> pd.DataFrame:
    """Return the total cost of the repairs of each pair, and how many have one."""
    cost = Cast("cost", BigIntegerField())
    rows = (
        fixed_by(as_of, only=only)
        .order_by()
        .values(*PAIR)
        .annotate(total=Coalesce(Sum(cost), Value(0)), paid=Count("cost"))
        .values_list(*PAIR, "total", "paid")
    )
    return read(rows, [*PAIR, "repair_total", "paid_repairs"])


def read(rows, names: list[str]) -> pd.DataFrame:
    """Return rows of whole numbers as a frame."""
    arrays = [
        np.fromiter(chain.from_iterable(batch), dtype=np.int64).reshape(len(batch), -1)
        for batch in batches(rows, size=BATCH)
    ]
    empty = np.zeros((0, len(names)), dtype=np.int64)
    columns = np.concatenate([empty, *arrays]).T
    return pd.DataFrame(dict(zip(names, columns, strict=True)))


def batches(rows, *, size: int):
    """Yield rows directly from the driver.

    A query set would convert each number, and PostgreSQL would plan for the first rows
    only.
    """
    sql, parameters = rows.query.sql_with_params()
    with connections[rows.db].cursor() as cursor:
        cursor.execute(sql, parameters)
        while batch := cursor.fetchmany(size):
            yield batch
