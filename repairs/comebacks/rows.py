"""One row of the comeback table as people read it: figures said, not only held."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from repairs.comebacks import verdict
from repairs.comebacks.pairs import ComebackTable, by_what_matters
from repairs.faults.declared import LASTING


class Pair(NamedTuple):
    """Which fault and which fix: the records behind a row."""

    fault_id: int
    fix_id: int
    fault_name: str
    fix_name: str


@dataclass(frozen=True)
class Row:
    """The pair, then the columns of the table in their order."""

    pair: Pair
    fault: str
    fix: str
    declared: str
    repairs: int
    judged: int
    returned: int
    expected: float
    risk: float
    low: float
    high: float
    alone: float
    alone_low: float
    alone_high: float
    chance_over_limit: float
    verdict: str
    mean_redo_cost: Decimal
    reserve: Decimal

    @property
    def flag(self) -> str:
        return verdict.flag(declared=self.declared, verdict=self.verdict)

    @property
    def is_hot(self) -> bool:
        """Whether the row asks for a hand."""
        return self.verdict == verdict.COMES_BACK

    @property
    def is_open(self) -> bool:
        """Whether nothing can be said yet: never drawn as if it were good news."""
        return self.verdict == verdict.TOO_FEW

    @property
    def called(self) -> str:
        return f"{self.fault} / {self.fix}"

    @property
    def returned_said(self) -> str:
        return f"{self.returned} of {self.repairs}"

    @property
    def risk_said(self) -> str:
        return share(self.risk)

    @property
    def limits_said(self) -> str:
        return between(self.low, self.high)

    @property
    def alone_chance_said(self) -> str:
        return share(self.alone)

    @property
    def alone_limits_said(self) -> str:
        return between(self.alone_low, self.alone_high)

    @property
    def alone_said(self) -> str:
        return f"{self.alone_chance_said} ({self.alone_limits_said})"

    @property
    def over_limit_said(self) -> str:
        return share(self.chance_over_limit)

    @property
    def sentence(self) -> str:
        """What the flag rests on, with its counts."""
        declared = "lasting" if self.declared == LASTING else "a stopgap"
        return (
            f"declared {declared}, {self.returned_said} came back so far;"
            f" risk {self.risk_said}, limits {self.limits_said}."
        )


def rows_by_what_matters(table: ComebackTable, pairs: Sequence[Pair]) -> list[Row]:
    """The table's rows, what comes back first; `pairs` are in the table's own order."""
    in_order = by_what_matters(table.rows)
    columns = in_order.itertuples(index=False, name=None)
    return [
        Row(pairs[number], *figures)
        for number, figures in zip(in_order.index.tolist(), columns, strict=True)
    ]


def share(value: float) -> str:
    """A chance in percent, with as many digits as mean something: 41 %, 2.3 %."""
    return f"{_digits(value)} %"


def between(low: float, high: float) -> str:
    """Two limits in percent: 28–55 %."""
    return f"{_digits(low)}–{_digits(high)} %"


def _digits(value: float) -> str:
    percent = value * 100
    if 0 < percent < 0.05:
        return "<0.1"
    if 99.5 <= percent < 100:
        return ">99"
    return f"{percent:.1f}" if 0 < percent < 9.95 else f"{percent:.0f}"
