"""What was charged for comebacks and what they take, as two bars a month, drawn by a
template. Measures are in units of the picture, which is `WIDTH` wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.comebacks.month.laid_by import LaidBy

WIDTH, PAPER = 760, 680
LEFT, RIGHT, TOP, STEP, BAR = 84, 590, 30, 34, 11
MOST = 12  # months drawn, the latest


@dataclass(frozen=True)
class Bar:
    """A month: what was charged above, what is needed below, spent and expected."""

    row: LaidBy
    y: float
    charged: float
    spent: float
    expected: float

    @property
    def y_needed(self) -> float:
        return self.y + BAR + 2

    @property
    def x_expected(self) -> float:
        return round(LEFT + self.spent, 1)

    @property
    def y_text(self) -> float:
        return self.y + BAR + 5


@dataclass(frozen=True)
class Bars:
    bars: list[Bar]
    width: int = WIDTH
    left: int = LEFT
    right: int = RIGHT
    bar: int = BAR

    @property
    def height(self) -> int:
        return TOP + STEP * len(self.bars) + 4

    @property
    def on_paper(self) -> tuple[int, int]:
        return PAPER, round(self.height * PAPER / WIDTH)


def bars(rows: Sequence[LaidBy]) -> Bars:
    """The latest months of which anything is on record, the last one on top."""
    drawn = [row for row in reversed(rows) if row.on_record][:MOST]
    amounts = [amount for row in drawn for amount in (row.charged, row.needed)]
    most = max(amounts, default=Decimal(0))

    def wide(amount: Decimal) -> float:
        return round((RIGHT - LEFT) * float(amount / most), 1) if most else 0.0

    return Bars(
        [
            Bar(
                row=row,
                y=TOP + STEP * n,
                charged=wide(row.charged),
                spent=wide(row.spent),
                expected=wide(row.expected),
            )
            for n, row in enumerate(drawn)
        ]
    )
