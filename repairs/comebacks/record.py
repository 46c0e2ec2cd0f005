"""The comeback report: the table with what belongs to it, kept until data change."""

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd

from repairs.comebacks import queries
from repairs.comebacks.advice import Recommendation, recommend
from repairs.comebacks.cache import cached, fingerprint
from repairs.comebacks.caveats import caveats
from repairs.comebacks.comeback_table import (
    ComebackTable,
    Row,
    comeback_table,
    mean_rework_costs,
)
from repairs.comebacks.estimate.prior import NO_COMEBACKS
from repairs.comebacks.scope import Scope
from repairs.comebacks.watch import (
    ComebackRows,
    Counts,
    FixedRepairs,
    Ints,
    Observed,
    PairNumbers,
    follow_up,
    is_undecided_type,
    merge_observations,
    most_common_type,
)
from repairs.faults.fix_types import LASTING, STOPGAP
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class ComebackReport:
    """The comeback table of a scope, as of its date."""

    scope: Scope
    table: ComebackTable
    whole: ComebackTable | None = None
    """The table of all repairs where the scope is filtered."""

    @property
    def as_of(self) -> date:
        return self.scope.as_of

    @property
    def within(self) -> int:
        return self.scope.within

    @property
    def limit(self) -> float:
        return self.table.limit

    @property
    def rows(self) -> list[Row]:
        return self.table.rows

    @cached_property
    def caveats(self) -> list[str]:
        """The limits of the figures; those of filtered ones rest on all repairs."""
        return caveats(self.whole or self.table, as_of=self.as_of)

    @property
    def notes(self) -> list[str]:
        """All that must be shown with the table."""
        return [*self.scope.notices, *self.caveats]

    @property
    def mismatches(self) -> list[Row]:
        """The rows whose results contradict the recorded type."""
        return [row for row in self.rows if row.mismatch]

    @cached_property
    def recommendations(self) -> list[Recommendation]:
        """What to change, by all repairs so far."""
        return recommend(
            self.rows,
            posterior=self.table.rates.posterior,
            confidence=self.table.confidence,
        )

    @property
    def too_few(self) -> int:
        """Pairs without enough repairs for a verdict."""
        return sum(row.has_too_few_repairs for row in self.rows)

    @property
    def repairs(self) -> int:
        return int(self.table.counts.repairs.sum())

    @property
    def comebacks(self) -> int:
        return int(self.table.counts.comebacks.sum())

    @property
    def average_risk(self) -> float:
        """The comeback risk of any repair of the shop."""
        return float(-np.expm1(-self.table.rates.shop_hazard))

    @property
    def has_average(self) -> bool:
        """Whether the average rests on a comeback at all."""
        return self.table.rates.prior.basis != NO_COMEBACKS

    def row_of(self, fault_id: int, fix_id: int) -> Row | None:
        found = (row for row in self.rows if row.pair == (fault_id, fix_id))
        return next(found, None)


def comeback_report(scope: Scope, *, shop: Shop) -> ComebackReport:
    """Return the report, calculated again only if anything it rests on has changed."""
    mark = fingerprint(shop)

    def report(scope: Scope, whole: ComebackReport | None = None) -> ComebackReport:
        return cached(
            "comebacks",
            scope,
            lambda: build_report(scope, shop=shop, whole=whole and whole.table),
            fingerprint=mark,
        )

    whole = report(scope.whole)
    return report(scope, whole) if scope.is_filtered else whole


def build_report(
    scope: Scope, *, shop: Shop, whole: ComebackTable | None = None
) -> ComebackReport:
    """Return the report; for filtered repairs, `whole` is the table of all."""
    as_of, only = scope.as_of, scope.repairs
    # Few repairs came back or are on a device out of use. These are read first, so that
    # what is saved meanwhile is not missing among all.
    back = queries.comeback_rows(as_of, only=only)
    ended = queries.out_of_use(as_of, only=only)
    fixed = queries.fixed_repairs(as_of, within=scope.within, only=only)
    numbers = PairNumbers.of(fixed.fault, fixed.fix)
    pairs = pd.DataFrame(queries.names(numbers))
    counts = _counts(
        fixed, merge_observations(ended, back), numbers=numbers, scope=scope
    )
    pairs["fix_type"] = _fix_types(fixed, numbers=numbers, scope=scope)
    pairs["mean_rework_cost"] = pd.Series(
        _rework_costs(back, numbers=numbers, scope=scope, places=shop.places),
        dtype="object",
    )
    table = comeback_table(
        counts,
        pairs,
        limit=float(shop.max_comeback_risk),
        confidence=float(shop.verdict_confidence),
        places=shop.places,
        whole=whole,
    )
    return ComebackReport(scope=scope, table=table, whole=whole)


def _counts(
    fixed: FixedRepairs, observed: Observed, *, numbers: PairNumbers, scope: Scope
) -> Counts:
    """Return the counts, with what is known of some repairs beyond their handover."""
    number, _ = numbers.number(fixed.fault, fixed.fix)
    counts = fixed.counts(number=number, pairs=len(numbers.keys), within=scope.within)
    number, has_one = numbers.number(observed.fault, observed.fix)
    observed = Observed(*(column[has_one] for column in observed))
    period = {"as_of": scope.as_of.toordinal(), "within": scope.within}
    return counts.moved(
        number[has_one],
        from_=follow_up(observed.handed_over, **period),
        to=follow_up(
            observed.handed_over,
            out_of_use=observed.out_of_use,
            came_back=observed.came_back,
            **period,
        ),
    )


def _fix_types(fixed: FixedRepairs, *, numbers: PairNumbers, scope: Scope) -> list[str]:
    """Return the type recorded most often for each pair."""
    number, _ = numbers.number(fixed.fault, fixed.fix)
    pairs = len(numbers.keys)
    last = fixed.last_handover(as_of=scope.as_of.toordinal())
    # The day of the last repair is asked for only where it may decide.
    rows = np.flatnonzero(is_undecided_type(fixed, number=number, pairs=pairs))
    if len(rows):
        keys = np.stack([fixed.fault, fixed.fix, fixed.is_stopgap], axis=1)[rows]
        last[rows] = queries.last_days(
            keys.tolist(), as_of=scope.as_of, only=scope.repairs
        )
    is_stopgap = most_common_type(
        number,
        is_stopgap=fixed.is_stopgap,
        repairs=fixed.repairs,
        handed_over=last,
        pairs=pairs,
    )
    return np.where(is_stopgap, STOPGAP, LASTING).tolist()


def _rework_costs(
    back: ComebackRows, *, numbers: PairNumbers, scope: Scope, places: int
) -> list:
    costs = pd.DataFrame({"fault_id": numbers.fault, "fix_id": numbers.fix})
    totals, reworks = _sum_costs(back, numbers=numbers)
    costs["rework_total"], costs["reworks"] = totals, reworks
    costs["repair_total"] = costs["paid_repairs"] = 0
    if not reworks.any():
        first = queries.repair_costs(as_of=scope.as_of, only=scope.repairs)
        number, has_one = numbers.number(first[0], first[1])
        costs.loc[number[has_one], ["repair_total", "paid_repairs"]] = np.stack(
            [first[2], first[3]], axis=1
        )[has_one]
    return mean_rework_costs(costs, places=places)


def _sum_costs(back: ComebackRows, *, numbers: PairNumbers) -> tuple[Ints, Ints]:
    """Return the total cost of each pair's comebacks, and how many are paid for."""
    number, has_one = numbers.number(back.fault, back.fix)
    is_paid = has_one & (back.cost != queries.UNPAID)
    totals = np.zeros(len(numbers.keys), np.int64)
    np.add.at(totals, number[is_paid], back.cost[is_paid])
    return totals, np.bincount(number[is_paid], minlength=len(totals))
