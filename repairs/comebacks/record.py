"""The comeback report: the table and what belongs to it, cached until data change."""

from dataclasses import dataclass
from decimal import Decimal
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
from repairs.comebacks.queries import PAIR
from repairs.comebacks.scope import Scope
from repairs.comebacks.watch import (
    Counts,
    count_follow_up,
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
    unfiltered: ComebackTable | None = None
    """The table of all repairs if the scope is filtered."""

    @property
    def rows(self) -> list[Row]:
        return self.table.rows

    @cached_property
    def caveats(self) -> list[str]:
        """The table with the limits of the report; if filtered, that of all repairs."""
        return caveats(self.unfiltered or self.table, as_of=self.scope.as_of)

    @property
    def notes(self) -> list[str]:
        """What must be shown with the table."""
        return [*self.scope.notices, *self.caveats]

    @property
    def mismatches(self) -> list[Row]:
        """The rows whose results contradict the recorded type."""
        return [row for row in self.rows if row.mismatch]

    @cached_property
    def recommendations(self) -> list[Recommendation]:
        """What to change, based on all repairs so far."""
        return recommend(self.rows, rates=self.table.rates)

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
        """Whether the average is based on at least one comeback."""
        return self.table.rates.parameters is not None

    def row_of(self, fault_id: int, fix_id: int) -> Row | None:
        rows = (row for row in self.rows if row.pair == (fault_id, fix_id))
        return next(rows, None)


def comeback_report(scope: Scope, *, shop: Shop) -> ComebackReport:
    """Return the report, calculated again only if any data behind it have changed."""
    mark = fingerprint(shop)

    def report(
        scope: Scope, unfiltered: ComebackReport | None = None
    ) -> ComebackReport:
        return cached(
            "comebacks",
            scope,
            lambda: build_report(
                scope, shop=shop, unfiltered=unfiltered and unfiltered.table
            ),
            fingerprint=mark,
        )

    unfiltered = report(scope.unfiltered)
    return report(scope, unfiltered) if scope.is_filtered else unfiltered


def build_report(
    scope: Scope, *, shop: Shop, unfiltered: ComebackTable | None = None
) -> ComebackReport:
    """Return the report; for filtered repairs, `unfiltered` is the table of all."""
    counted = count_pairs(scope)
    keys = counted.pairs[[*PAIR]]
    costs = _rework_costs(keys, counted.comebacks, scope=scope, places=shop.places)
    pairs = queries.name_pairs(counted.pairs)
    table = comeback_table(
        counted.counts,
        pairs.assign(mean_rework_cost=pd.Series(costs, dtype="object")),
        limit=float(shop.max_comeback_risk),
        confidence=float(shop.verdict_confidence),
        places=shop.places,
        unfiltered=unfiltered,
    )
    return ComebackReport(scope=scope, table=table, unfiltered=unfiltered)


@dataclass(frozen=True)
class CountedPairs:
    """The pairs of a fault and a fix, and their follow-up."""

    pairs: pd.DataFrame
    """Columns: fault_id, fix_id and fix_type, the one recorded most often."""
    counts: Counts
    """In the order of the pairs."""
    comebacks: pd.DataFrame
    """A row per comeback, see `queries.comeback_rows`."""


def count_pairs(scope: Scope) -> CountedPairs:
    """Return the pairs of a scope with their counts, from the database."""
    as_of, only = scope.as_of, scope.repairs
    # Few repairs came back or are on a device out of use. These are read first, so that
    # one saved meanwhile cannot be missing in the total.
    back = queries.comeback_rows(as_of, only=only)
    ended = queries.out_of_use(as_of, only=only)
    fixed = queries.fixed_repairs(as_of, within=scope.within, only=only)
    pairs = fixed[[*PAIR]].drop_duplicates().sort_values([*PAIR], ignore_index=True)
    numbers = pairs.assign(number=pairs.index)
    fixed = fixed.merge(numbers)
    counts = count_follow_up(
        fixed,
        merge_observations(ended, back).merge(numbers),
        pairs=len(pairs),
        as_of=as_of.toordinal(),
        within=scope.within,
    )
    pairs = pairs.assign(fix_type=np.where(most_common_type(fixed), STOPGAP, LASTING))
    return CountedPairs(pairs, counts, back)


def _rework_costs(
    pairs: pd.DataFrame, back: pd.DataFrame, *, scope: Scope, places: int
) -> list[Decimal]:
    paid = back[back["cost"] != queries.UNPAID].groupby([*PAIR])["cost"]
    costs = pairs.join(paid.agg(rework_total="sum", reworks="size"), on=[*PAIR])
    if costs["reworks"].any():
        costs = costs.assign(repair_total=0, paid_repairs=0)
    else:
        costs = costs.merge(
            queries.repair_costs(scope.as_of, only=scope.repairs), how="left"
        )
    return mean_rework_costs(costs.fillna(0).astype("int64"), places=places)
