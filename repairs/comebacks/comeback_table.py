"""The comeback table: one row for each pair of a fault and a fix.

The columns are declared once, in `Row`: types, headings, formats on screens and
documents, and names in files.
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Annotated, Any, NamedTuple, get_type_hints

import numpy as np
import pandas as pd

from repairs.comebacks.estimate import verdict
from repairs.comebacks.estimate.rate import Rates, filtered_rates, rates
from repairs.comebacks.watch import Counts, Ints
from repairs.faults.fix_types import STOPGAP
from shopdesk.look.formats import format_share, format_share_range
from shopdesk.money import UNIT, rounded


class Column(NamedTuple):
    """How a column is shown; one without a heading is shown with another column."""

    file_name: str
    """Name in CSV and JSON. Other programs rely on it."""
    heading: str = ""
    format: Callable[[Any], str] | None = None
    """Formats the value of a row; without it the value is shown unchanged."""


Text = Annotated[str, "str"]
Count = Annotated[int, "int64"]
Figure = Annotated[float, "float64"]
Money = Annotated[Decimal, "object"]


class Row(NamedTuple):
    """A row of the table; the columns after the keys are those of the files."""

    number: Count  # index in the arrays of `Rates`
    fault_id: Count
    fix_id: Count
    fault_name: Text
    fix_name: Text

    fault: Annotated[Text, Column("fault", "Fault")]
    fix: Annotated[Text, Column("fix", "Fix")]
    # As recorded most often when the repairs were closed; in a tie, the latest.
    fix_type: Annotated[Text, Column("declared", "Type")]
    repairs: Annotated[Count, Column("repairs", "Repairs")]
    followed_up: Annotated[Count, Column("judged", "Followed up")]
    comebacks: Annotated[Count, Column("returned", "Comebacks")]
    expected_comebacks: Annotated[
        Figure,
        Column("expected", "Expected", lambda row: f"{row.expected_comebacks:.1f}"),
    ]
    risk: Annotated[Figure, Column("risk", "Risk", lambda row: format_share(row.risk))]
    risk_low: Annotated[Figure, Column("low", "90 % range", lambda row: row.risk_range)]
    risk_high: Annotated[Figure, Column("high")]
    own_risk: Annotated[
        Figure,
        Column("alone", "Own repairs", lambda row: format_share(row.own_risk)),
    ]
    own_low: Annotated[
        Figure, Column("alone_low", "90 % range", lambda row: row.own_range)
    ]
    own_high: Annotated[Figure, Column("alone_high")]
    probability_above_limit: Annotated[
        Figure,
        Column(
            "chance_over_limit",
            "Above limit",
            lambda row: format_share(row.probability_above_limit),
        ),
    ]
    verdict: Annotated[Text, Column("verdict", "Verdict")]
    mean_rework_cost: Annotated[Money, Column("mean_redo_cost", "Rework cost")]
    comeback_allowance: Annotated[Money, Column("reserve", "Allowance")]

    @property
    def pair(self) -> tuple[int, int]:
        return self.fault_id, self.fix_id

    @property
    def risk_range(self) -> str:
        return format_share_range(self.risk_low, self.risk_high)

    @property
    def own_range(self) -> str:
        return format_share_range(self.own_low, self.own_high)

    @property
    def label(self) -> str:
        return f"{self.fault} / {self.fix}"

    @property
    def mismatch(self) -> str:
        """How results contradict the recorded type; empty if they do not."""
        return verdict.mismatch(fix_type=self.fix_type, verdict=self.verdict)

    @property
    def has_too_many_comebacks(self) -> bool:
        return self.verdict == verdict.TOO_MANY_COMEBACKS

    @property
    def has_too_few_repairs(self) -> bool:
        return self.verdict == verdict.NOT_ENOUGH_REPAIRS

    @property
    def evidence(self) -> str:
        """Return the counts and the risk in one sentence."""
        called = "a stopgap" if self.fix_type == STOPGAP else "lasting"
        return f"recorded as {called}; {self.counts_and_risk}."

    @property
    def counts_and_risk(self) -> str:
        return (
            f"{self.comebacks} of {self.repairs} repairs came back; risk"
            f" {format_share(self.risk)}, 90 % range {self.risk_range}"
        )


_HINTS = {
    name: hint.__metadata__
    for name, hint in get_type_hints(Row, include_extras=True).items()
}
DTYPES = {name: dtype for name, (dtype, *_) in _HINTS.items()}
COLUMNS: dict[str, Column] = {
    name: column for name, (_, *columns) in _HINTS.items() for column in columns
}
"""The columns of the files, in their order."""

HEADINGS = {name: column.heading for name, column in COLUMNS.items()}

FILE_VERDICTS = {
    verdict.TOO_MANY_COMEBACKS: "comes back",
    verdict.NOT_ENOUGH_REPAIRS: "too few to tell",
    verdict.RELIABLE: "holds",
    verdict.BORDERLINE: "between",
}
"""The verdicts in CSV and JSON."""


@dataclass(frozen=True)
class ComebackTable:
    """The table, and the rates behind it."""

    frame: pd.DataFrame
    """One row per pair, in the order of the rates."""
    rates: Rates

    @property
    def limit(self) -> float:
        return self.rates.limit

    @property
    def counts(self) -> Counts:
        return self.rates.counts

    @property
    def within(self) -> int:
        return self.counts.within

    @property
    def has_no_comebacks(self) -> bool:
        return not self.counts.comebacks.sum()

    @cached_property
    def rows(self) -> list[Row]:
        """The rows, most important first."""
        ordered = sorted_by_priority(self.frame)
        return [Row._make(row) for row in ordered.itertuples(index=False, name=None)]

    def for_file(self) -> pd.DataFrame:
        """Return the columns of the files by their names there."""
        ordered = sorted_by_priority(self.frame)
        names = {name: column.file_name for name, column in COLUMNS.items()}
        ordered = ordered[list(names)].rename(columns=names)
        return ordered.assign(verdict=ordered["verdict"].map(FILE_VERDICTS))


def comeback_table(
    counts: Counts,
    pairs: pd.DataFrame,
    *,
    limit: float,
    confidence: float,
    places: int = 2,
    unfiltered: ComebackTable | None = None,
) -> ComebackTable:
    """Return the table of these counts.

    `pairs` holds the keys except the number, codes, recorded types and mean rework
    costs, in the order of the counts; `places` are the currency's decimals. If the
    counts are only some of the shop's, `unfiltered` is the table of all of them.
    """
    if unfiltered is None:
        estimated = rates_of(counts, pairs, limit=limit, confidence=confidence)
    else:
        numbers = unfiltered.frame[["fault_id", "fix_id", "number"]]
        rows = pairs.merge(numbers, how="left")["number"].to_numpy()
        estimated = filtered_rates(counts, unfiltered=unfiltered.rates, rows=rows)
    allowances = [
        rounded(Decimal(repr(risk)) * cost, places=places)
        for risk, cost in zip(
            estimated.risk.tolist(), pairs["mean_rework_cost"], strict=True
        )
    ]
    frame = pairs.assign(
        number=np.arange(len(pairs)),
        repairs=counts.repairs,
        followed_up=counts.followed_up,
        comebacks=counts.comebacks,
        expected_comebacks=estimated.expected,
        risk=estimated.risk,
        risk_low=estimated.low,
        risk_high=estimated.high,
        own_risk=estimated.own.risk,
        own_low=estimated.own.low,
        own_high=estimated.own.high,
        probability_above_limit=estimated.probability_above_limit,
        verdict=estimated.verdict,
        comeback_allowance=np.array(allowances, dtype=object),
    )
    return ComebackTable(frame[list(DTYPES)].astype(DTYPES), estimated)


def rates_of(
    counts: Counts, pairs: pd.DataFrame, *, limit: float, confidence: float
) -> Rates:
    """Return the rates of these counts, in the order of `pairs`.

    Columns: fault_id, fix_id and fix_type.
    """
    return rates(
        counts,
        is_stopgap=(pairs["fix_type"] == STOPGAP).to_numpy(dtype=bool),
        fault=_numbered(pairs["fault_id"]),
        fix=_numbered(pairs["fix_id"]),
        limit=limit,
        confidence=confidence,
    )


def _numbered(keys: pd.Series) -> Ints:
    return np.unique(keys.to_numpy(), return_inverse=True)[1]


def mean_rework_costs(costs: pd.DataFrame, *, places: int = 2) -> list[Decimal]:
    """Return the mean cost of a comeback of each pair, rounded to the currency.

    Columns, a row per pair: `fault_id`; `rework_total` in 1/10000 of the currency unit
    and `reworks`, of its comebacks with a known cost; `repair_total` and
    `paid_repairs`, of its repairs.

    The mean is over the comebacks of the pair; without any, over those of its fault;
    else over the shop's. In a shop without any it is over the pair's own repairs, since
    repeating a repair costs about as much as the repair did.
    """
    own = costs[["rework_total", "reworks"]]
    levels = [own, own.groupby(costs["fault_id"]).transform("sum")]
    levels.append(pd.DataFrame({name: own[name].sum() for name in own}, costs.index))
    levels.append(costs[["repair_total", "paid_repairs"]])
    counts = [level.iloc[:, 1] for level in levels]
    is_known = [count > 0 for count in counts]
    totals = np.select(is_known, [level.iloc[:, 0] for level in levels], 0)
    jobs = np.select(is_known, counts, 1)
    return [
        rounded(Decimal(total) / UNIT / n, places=places)
        for total, n in zip(totals.tolist(), jobs.tolist(), strict=True)
    ]


def sorted_by_priority(frame: pd.DataFrame) -> pd.DataFrame:
    """Return too many comebacks first, then lasts better than recorded, then the rest.

    Within each by the highest cost: risk × rework cost × number of repairs.
    """
    is_better = (frame["fix_type"] == STOPGAP) & (frame["verdict"] == verdict.RELIABLE)
    is_worst = frame["verdict"] == verdict.TOO_MANY_COMEBACKS
    cost = frame["risk"] * frame["mean_rework_cost"].astype("float64")
    keyed = frame.assign(
        _rank=np.select([is_worst, is_better], [0, 1], default=2),
        _cost=-cost * frame["repairs"],
    )
    keyed = keyed.sort_values(["_rank", "_cost", "fault", "fix"], kind="stable")
    return keyed[list(frame.columns)]
