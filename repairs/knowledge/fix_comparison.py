"""The fixes of one fault compared: track record, price and profit after comebacks."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from itertools import combinations

from django.db.models import Q

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate.kaplan_meier import log_rank
from repairs.comebacks.record import ComebackReport
from repairs.comebacks.standing import Standing
from repairs.faults import fix_types
from repairs.faults.models import Fault, Fix, UsualPart
from repairs.knowledge.curve_chart import CurveChart, curve_chart
from repairs.stock.queries import current_costs
from shopdesk.errors import IncompleteError
from shopdesk.money import rounded
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import NO_TAX, FixCost, PartNeed, fix_cost
from shopdesk.shop.tax import Buyer

MAX_COMPARED = 6  # fixes of one fault; if there are more, the most frequent


@dataclass(frozen=True)
class FixOption:
    """A fix of the fault; `row` is None if it has no repairs yet."""

    fix: Fix
    row: Row | None
    probability_best: float | None
    """Probability that it is better than the best other; None if there is no other."""
    cost: FixCost
    total_cost: Decimal
    """Cost to the shop, including expected comebacks."""
    profit: Decimal | None
    """Net price less total cost; None if a part has no price."""

    @property
    def standing(self) -> Standing:
        return Standing(self.fix.fix_type, self.row)


@dataclass(frozen=True)
class FixPair:
    """Two fixes of the fault, and the probability that the first is better."""

    first: Row
    second: Row
    probability: float
    p_value: float


class FixComparison:
    """The fixes done for one fault, lowest risk first."""

    def __init__(self, report: ComebackReport, *, fault: Fault) -> None:
        self.fault = fault
        self.report = report
        rows = [row for row in report.rows if row.fault_id == fault.pk]
        self.rows = sorted(rows, key=lambda row: row.risk)

    @cached_property
    def pairs(self) -> list[FixPair]:
        """Every two fixes, with the log-rank test."""
        counts = self.report.table.counts
        frequent = sorted(self.rows, key=lambda row: -row.repairs)[:MAX_COMPARED]
        return [
            FixPair(
                first=first,
                second=second,
                probability=self._probability_better(first, second),
                p_value=log_rank(counts.select([first.number, second.number])).p_value,
            )
            for first, second in combinations(sorted(frequent, key=self.rows.index), 2)
        ]

    def _probability_better(self, first: Row, second: Row) -> float:
        posterior = self.report.table.rates.posterior
        return posterior.probability_better(first.number, second.number)

    def options(self, *, shop: Shop) -> list[FixOption]:
        """Return the fixes done for the fault and those the fault book has for it.

        Without repairs a fix is assumed to have the shop's average risk and its own
        cost as rework cost. The lowest risk comes first, and without repairs lasting
        fixes.
        """
        done = {row.fix_id: row for row in self.rows}
        fixes = Fix.objects.filter(
            Q(id__in=done) | Q(faults=self.fault, is_retired=False)
        ).distinct()
        tax = included_tax(self.report.scope.as_of, shop)
        costs = usual_costs(list(fixes), shop=shop, included_tax=tax)
        options = [
            self._option(fix, done.get(fix.pk), costs[fix.pk], places=shop.places)
            for fix in fixes
        ]
        return sorted(
            options,
            key=lambda option: (
                option.row.risk if option.row else math.inf,
                option.fix.fix_type == fix_types.STOPGAP,
            ),
        )

    def _option(
        self, fix: Fix, row: Row | None, cost: FixCost, *, places: int
    ) -> FixOption:
        risk = row.risk if row else self.report.average_risk
        rework_cost = row.mean_rework_cost if row else cost.cost
        total = cost.cost + Decimal(repr(risk)) * rework_cost
        profit = rounded(cost.net_price - total, places=places)
        others = [other for other in self.rows if other is not row]
        return FixOption(
            fix=fix,
            row=row,
            probability_best=(
                self._probability_better(row, others[0]) if row and others else None
            ),
            cost=cost,
            total_cost=rounded(total, places=places),
            profit=profit if cost.is_whole else None,
        )

    def curves(self, *, focus: int | None = None) -> CurveChart | None:
        """Return the comeback curves; `focus` is the fix whose interval is drawn."""
        if not self.rows:
            return None
        table = self.report.table
        return curve_chart(
            self.rows, counts=table.counts, limit=table.limit, focus=focus
        )


def included_tax(on: date, shop: Shop) -> Mapping[str, Decimal]:
    """Return the rates in percent that the prices of private customers include.

    All are 0 while the shop has no rate.
    """
    try:
        return shop.included_tax(on, Buyer())
    except IncompleteError:
        return NO_TAX


def usual_costs(
    fixes: list[Fix], *, shop: Shop, included_tax: Mapping[str, Decimal]
) -> dict[int, FixCost]:
    """Return price and cost of each fix, from the fault book and the shop settings."""
    needed = list(UsualPart.objects.filter(fix__in=fixes).select_related("part"))
    costs = current_costs({usual.part for usual in needed})
    rates = shop.rates()
    return {
        fix.pk: fix_cost(
            fix.minutes,
            [
                PartNeed(
                    usual.part.name,
                    usual.quantity,
                    costs.get(usual.part_id),
                    usual.part.fixed_price,
                )
                for usual in needed
                if usual.fix_id == fix.pk
            ],
            rates=rates,
            hourly_cost=shop.hourly_cost,
            included_tax=included_tax,
        )
        for fix in fixes
    }
