"""The cost of comebacks in a month, and the allowances its repairs were charged.

Only repairs whose accepted price has a comeback allowance are compared: the others are
left out of both sums.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pandas as pd
from django.db.models import BigIntegerField
from django.db.models.functions import Cast, Coalesce

from repairs.comebacks.queries import (
    PAIR,
    UNPAID,
    comeback_rows,
    comebacks_by,
    fixed_by,
    read,
)
from repairs.comebacks.record import ComebackReport
from repairs.month.frame import Observations, month_number
from repairs.month.months import MonthRow
from shopdesk.money import UNIT, rounded

# --- cost of comebacks ----------------------------------------------------------


@dataclass(frozen=True)
class CostRow:
    """A pair: its comebacks handed over this month, and its repairs."""

    fault_id: int
    fix_id: int
    label: str
    comebacks: int
    cost: Decimal
    repairs: int
    allowance: Decimal


@dataclass(frozen=True)
class MonthCosts:
    rows: list[CostRow]
    in_shop: int = 0
    """Comebacks not handed over yet: their cost is not known."""

    @property
    def by_cost(self) -> list[CostRow]:
        """Pairs with comebacks this month, highest cost first."""
        return [row for row in self.rows if row.comebacks]

    @property
    def by_allowance(self) -> list[CostRow]:
        """Pairs with repairs this month, highest allowance first."""
        rows = [row for row in self.rows if row.repairs]
        return sorted(rows, key=lambda row: (-row.allowance, row.label))

    @property
    def comebacks(self) -> int:
        return sum(row.comebacks for row in self.rows)

    @property
    def cost(self) -> Decimal:
        return sum((row.cost for row in self.rows), Decimal(0))

    @property
    def repairs(self) -> int:
        return sum(row.repairs for row in self.rows)

    @property
    def allowance(self) -> Decimal:
        return sum((row.allowance for row in self.rows), Decimal(0))


def month_costs(report: ComebackReport, seen: Observations) -> MonthCosts:
    """Return the costs of the month of the report's date, up to that day."""
    as_of = report.scope.as_of
    first = as_of.replace(day=1)
    back = comebacks_by(as_of, only=report.scope.repairs)
    handed_over = back.filter(rework_handed_over_on__range=(first, as_of))
    cost = Coalesce(Cast("cost", BigIntegerField()), 0)
    paid = read(handed_over.values_list(*PAIR, cost), [*PAIR, "cost"])
    costs = paid.groupby([*PAIR])["cost"].agg(comebacks="size", cost="sum")
    is_new = seen.repairs["handed_over"] >= first.toordinal()
    repairs = seen.repairs[is_new].groupby("pair").size()
    frame = report.table.frame[
        [*PAIR, "fault", "fix", "number", "comeback_allowance"]
    ].join(costs, on=[*PAIR])
    frame = frame.assign(repairs=frame["number"].map(repairs)).fillna(
        {"comebacks": 0, "cost": 0, "repairs": 0}
    )
    rows = [
        CostRow(
            fault_id=row.fault_id,
            fix_id=row.fix_id,
            label=f"{row.fault} / {row.fix}",
            comebacks=int(row.comebacks),
            cost=Decimal(int(row.cost)) / UNIT,
            repairs=int(row.repairs),
            allowance=row.comeback_allowance * int(row.repairs),
        )
        for row in frame[(frame["comebacks"] > 0) | (frame["repairs"] > 0)].itertuples()
    ]
    rows.sort(key=lambda row: (-row.cost, -row.allowance, row.label))
    in_shop = back.exclude(rework_handed_over_on__lte=as_of).count()
    return MonthCosts(rows, in_shop)


# --- allowances charged and used ------------------------------------------------


@dataclass(frozen=True)
class AllowanceMonth:
    """A month's repairs: the allowance charged, and the cost of their comebacks."""

    month: date
    repairs: int
    with_allowance: int
    """Repairs whose price has an allowance."""
    charged: Decimal
    spent: Decimal
    """The cost of their comebacks so far, in any month."""
    expected: Decimal
    """The expected cost of comebacks still to come or still in the shop."""

    @property
    def name(self) -> str:
        return f"{self.month:%b %Y}"

    @property
    def missing(self) -> int:
        return self.repairs - self.with_allowance

    @property
    def needed(self) -> Decimal:
        return self.spent + self.expected

    @property
    def is_short(self) -> bool:
        return self.charged < self.needed

    @property
    def difference(self) -> Decimal:
        """The amount of the surplus or the shortfall."""
        return abs(self.charged - self.needed)

    @property
    def result(self) -> str:
        if not self.with_allowance:
            return "no data"
        return "shortfall" if self.is_short else "surplus"


def allowance_months(
    report: ComebackReport,
    seen: Observations,
    *,
    months: Sequence[MonthRow],
    places: int,
) -> list[AllowanceMonth]:
    """Return the allowances of these months."""
    as_of, only = report.scope.as_of, report.scope.repairs
    with_allowance = fixed_by(as_of, only=only).filter(comeback_allowance__isnull=False)
    charges = read(
        with_allowance.values_list("pk", Cast("comeback_allowance", BigIntegerField())),
        ["repair", "charged"],
    )
    rework = report.table.frame["mean_rework_cost"].astype("float64").to_numpy()
    pair = seen.repairs["pair"].to_numpy()
    rows = seen.repairs[["repair", "month"]].assign(
        rework=rework[pair], expected=seen.risk * rework[pair]
    )
    rows = rows.merge(charges, on="repair")
    back = comeback_rows(as_of, only=only)[["repair", "cost"]]
    back = back.merge(rows[["repair", "month", "rework"]], on="repair")
    is_paid = back["cost"] != UNPAID
    of_month = rows.groupby("month")
    sums = pd.DataFrame(
        {
            "with_allowance": of_month.size(),
            "charged": of_month["charged"].sum(),
            "expected": of_month["expected"].sum(),
            "spent": back[is_paid].groupby("month")["cost"].sum(),
            "pending": back[~is_paid].groupby("month")["rework"].sum(),
        }
    ).reindex([month_number(row.month) for row in months])
    return [
        AllowanceMonth(
            month=row.month,
            repairs=row.repairs,
            with_allowance=int(month.with_allowance),
            charged=Decimal(int(month.charged)) / UNIT,
            spent=Decimal(int(month.spent)) / UNIT,
            expected=rounded(
                Decimal(repr(float(month.expected + month.pending))), places=places
            ),
        )
        for row, month in zip(months, sums.fillna(0).itertuples(), strict=True)
    ]


def total_allowance(rows: Sequence[AllowanceMonth]) -> AllowanceMonth:
    """Return the sum of these months, at least one."""
    sums = {
        name: sum(getattr(row, name) for row in rows)
        for name in ("repairs", "with_allowance", "charged", "spent", "expected")
    }
    return AllowanceMonth(rows[-1].month, **sums)
