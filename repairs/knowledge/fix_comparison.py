"""The fixes of one fault compared: track record, price and total cost."""

import math
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

import numpy as np
from django.db.models import Q

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate.comparison import (
    compare_pairwise,
    probabilities_better_than_best_other,
    total_cost,
)
from repairs.comebacks.record import ComebackReport
from repairs.faults.models import Fault, Fix, UsualPart
from repairs.knowledge.curve_chart import CurveChart, curve_chart
from repairs.stock.queries import current_costs
from shopdesk.money import rounded
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import FixCost, PartNeed, fix_cost

MAX_COMPARED = 6  # fixes of one fault; of more the most frequent


@dataclass(frozen=True)
class FixOption:
    """A fix of the fault; `row` is None where it has no repairs yet."""

    fix: Fix
    row: Row | None
    probability_best: float | None
    """That it is better than the best of the others; None with nothing to compare."""
    cost: FixCost
    total_cost: Decimal
    """To the shop, including expected comebacks."""


@dataclass(frozen=True)
class FixPair:
    """Two fixes of the fault: the probability that the first is better."""

    first: Row
    second: Row
    probability: float
    p_value: float


class FixComparison:
    """The fixes done for one fault, the lowest risk first."""

    def __init__(self, report: ComebackReport, *, fault: Fault) -> None:
        self.fault = fault
        self.report = report
        rows = [row for row in report.rows if row.fault_id == fault.pk]
        self.rows = sorted(rows, key=lambda row: row.risk)
        self.counts = report.table.counts.select([row.number for row in self.rows])

    @cached_property
    def pairs(self) -> list[FixPair]:
        """Every two fixes, with the log-rank test."""
        order = range(len(self.rows))
        frequent = sorted(order, key=lambda n: -self.rows[n].repairs)[:MAX_COMPARED]
        kept = sorted(frequent)
        rows = [self.rows[n] for n in kept]
        posterior = self.report.table.rates.posterior
        return [
            FixPair(
                first=rows[one.first],
                second=rows[one.second],
                probability=one.probability,
                p_value=one.p_value,
            )
            for one in compare_pairwise(
                posterior.select([row.number for row in rows]),
                counts=self.counts.select(kept),
            )
        ]

    def options(self, *, shop: Shop) -> list[FixOption]:
        """Return the fixes done for the fault and those the fault book names for it.

        Without repairs a fix is assumed to have the shop's average risk and its own
        cost as rework cost. The lowest risk comes first.
        """
        done = {row.fix_id: row for row in self.rows}
        fixes = Fix.objects.filter(
            Q(id__in=done) | Q(faults=self.fault, is_retired=False)
        ).distinct()
        costs = usual_costs(list(fixes), shop=shop)
        options = [
            self._option(fix, done.get(fix.pk), costs[fix.pk], places=shop.places)
            for fix in fixes
        ]
        return sorted(options, key=lambda one: one.row.risk if one.row else math.inf)

    def _option(
        self, fix: Fix, row: Row | None, cost: FixCost, *, places: int
    ) -> FixOption:
        total = total_cost(
            own_cost=cost.cost,
            risk=row.risk if row else self.report.average_risk,
            rework_cost=row.mean_rework_cost if row else cost.cost,
        )
        return FixOption(
            fix=fix,
            row=row,
            probability_best=self._probability_best.get(fix.pk),
            cost=cost,
            total_cost=rounded(total, places=places),
        )

    @cached_property
    def _probability_best(self) -> dict[int, float]:
        numbers = [row.number for row in self.rows]
        probabilities = probabilities_better_than_best_other(
            self.report.table.rates.posterior.select(numbers),
            risks=np.array([row.risk for row in self.rows]),
        ).tolist()
        return {
            row.fix_id: probability
            for row, probability in zip(self.rows, probabilities, strict=True)
            if not math.isnan(probability)
        }

    def curves(self, *, focus: int | None = None) -> CurveChart | None:
        """Return the comeback curves; `focus` is the fix whose interval is drawn."""
        if not self.rows:
            return None
        fixes = [row.fix_id for row in self.rows]
        return curve_chart(
            self.rows,
            counts=self.counts,
            limit=self.report.table.limit,
            focus=fixes.index(focus) if focus in fixes else None,
        )


def usual_costs(fixes: list[Fix], *, shop: Shop) -> dict[int, FixCost]:
    """Return price and cost of each fix, by the fault book and the shop settings."""
    usual = list(UsualPart.objects.filter(fix__in=fixes).select_related("part"))
    costs = current_costs({one.part for one in usual})
    rates = shop.rates()
    return {
        fix.pk: fix_cost(
            fix.minutes,
            [
                PartNeed(
                    one.part.name,
                    one.quantity,
                    costs.get(one.part_id),
                    one.part.fixed_price,
                )
                for one in usual
                if one.fix_id == fix.pk
            ],
            rates=rates,
            hourly_cost=shop.hourly_cost,
        )
        for fix in fixes
    }
