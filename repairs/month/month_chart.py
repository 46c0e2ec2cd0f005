"""The monthly charts, drawn by templates: comeback rates, and allowances.

Lengths are in units of the drawing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.comebacks.risk_chart import WIDTH, fit_on_paper
from repairs.month.months import MonthRow, Months
from repairs.month.reserves import AllowanceMonth
from shopdesk.look.axis import Tick, share_axis, share_label
from shopdesk.look.formats import format_share, format_share_range

# --- rates by month -------------------------------------------------------------

HEIGHT = 306
LEFT, RIGHT, TOP, BOTTOM = 52, 744, 30, 262


@dataclass(frozen=True)
class Point:
    """A month: its rate, its limits, and the rate it is expected to reach."""

    row: MonthRow
    x: float
    left: float
    width: float
    y: float
    y_end: float
    low: float | None
    high: float | None
    label: str
    year: str

    @property
    def right(self) -> float:
        return round(self.left + self.width, 1)

    @property
    def text(self) -> str:
        row = self.row
        counts = f"{row.name}: {row.comebacks} of {row.repairs} came back"
        if not row.is_complete:
            return (
                f"{counts} so far, {row.still_expected:.1f} more expected:"
                f" {format_share(row.expected_rate)} at the end"
            )
        limits = ""
        if row.low is not None and row.high is not None:
            limits = f", normal range {format_share_range(row.low, row.high)}"
        return f"{counts}, {format_share(row.rate)}{limits}: {row.status}"


@dataclass(frozen=True)
class RateChart:
    points: list[Point]
    ticks: list[Tick]
    centre: float | None
    path: str
    """Return the line through the complete months."""
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = RIGHT
    top: int = TOP
    bottom: int = BOTTOM
    area_width: int = RIGHT - LEFT
    area_height: int = BOTTOM - TOP

    @property
    def on_paper(self) -> tuple[int, int]:
        return fit_on_paper(self.width, self.height)


def rate_chart(months: Months) -> RateChart:
    rows = months.rows
    most = max(
        [0.02]
        + [row.rate for row in rows]
        + [row.expected_rate for row in rows if not row.is_complete and row.repairs]
        + [row.high for row in rows if row.high is not None]
    )
    axis = share_axis(most, start=BOTTOM, stop=TOP)
    width = (RIGHT - LEFT) / max(len(rows), 1)
    points = [
        Point(
            row=row,
            x=round(LEFT + width * (n + 0.5), 1),
            left=round(LEFT + width * n, 1),
            width=round(width, 1),
            y=axis.position(row.rate),
            y_end=axis.position(row.expected_rate),
            low=None if row.low is None else axis.position(row.low),
            high=None if row.high is None else axis.position(row.high),
            label=f"{row.month:%b}",
            year=f"{row.month:%Y}" if n == 0 or row.month.month == 1 else "",
        )
        for n, row in enumerate(rows)
    ]
    drawn = [p for p in points if p.row.is_complete and p.row.repairs]
    return RateChart(
        points=points,
        ticks=axis.ticks(share_label),
        centre=None if months.centre is None else axis.position(months.centre),
        path="M" + "L".join(f"{p.x} {p.y}" for p in drawn) if len(drawn) > 1 else "",
    )


# --- allowances by month --------------------------------------------------------

BAR_LEFT, BAR_RIGHT, BAR_TOP, BAR_STEP, BAR_HEIGHT = 84, 590, 30, 34, 11
MAX_BARS = 12  # months, the latest


@dataclass(frozen=True)
class Bar:
    """A month: the allowance charged above; below, the cost so far and expected."""

    row: AllowanceMonth
    y: float
    charged: float
    spent: float
    expected: float

    @property
    def y_needed(self) -> float:
        return self.y + BAR_HEIGHT + 2

    @property
    def x_expected(self) -> float:
        return round(BAR_LEFT + self.spent, 1)

    @property
    def y_text(self) -> float:
        return self.y + BAR_HEIGHT + 5


@dataclass(frozen=True)
class AllowanceChart:
    bars: list[Bar]
    width: int = WIDTH
    left: int = BAR_LEFT
    right: int = BAR_RIGHT
    bar_height: int = BAR_HEIGHT

    @property
    def height(self) -> int:
        return BAR_TOP + BAR_STEP * len(self.bars) + 4

    @property
    def on_paper(self) -> tuple[int, int]:
        return fit_on_paper(self.width, self.height)


def allowance_chart(rows: Sequence[AllowanceMonth]) -> AllowanceChart:
    """Return the latest months with an allowance, the last one on top."""
    drawn = [row for row in reversed(rows) if row.with_allowance][:MAX_BARS]
    amounts = [amount for row in drawn for amount in (row.charged, row.needed)]
    most = max(amounts, default=Decimal(0))

    def length(amount: Decimal) -> float:
        return round((BAR_RIGHT - BAR_LEFT) * float(amount / most), 1) if most else 0.0

    return AllowanceChart(
        [
            Bar(
                row=row,
                y=BAR_TOP + BAR_STEP * n,
                charged=length(row.charged),
                spent=length(row.spent),
                expected=length(row.expected),
            )
            for n, row in enumerate(drawn)
        ]
    )
