"""Where things stand in the picture of the months, drawn by a template.

Measures are in units of the picture, which is `WIDTH` wide.
"""

from dataclasses import dataclass

from repairs.comebacks.month import months
from repairs.comebacks.month.months import MonthRow, Months

WIDTH, HEIGHT = 760, 306
PAPER = 680
LEFT, RIGHT = 52, 744
TOP, BOTTOM = 30, 262
STEPS = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2)


@dataclass(frozen=True)
class Tick:
    y: float
    said: str


@dataclass(frozen=True)
class Point:
    """A month: where its share stands, its limits, and where it may end."""

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
    def is_below(self) -> bool:
        return self.row.word == months.BELOW

    @property
    def words(self) -> str:
        row = self.row
        text = f"{row.said}: {row.returned} of {row.repairs} came back"
        if not row.is_complete:
            return (
                f"{text} so far, {row.still_expected_said} more expected:"
                f" {row.in_the_end_said} in the end"
            )
        limits = f", limits {row.limits_said}" if row.limits_said else ""
        return f"{text}, {row.share_said}{limits}: {row.word}"


@dataclass(frozen=True)
class Chart:
    points: list[Point]
    ticks: list[Tick]
    centre: float | None
    path: str
    """The line through the complete months."""

    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = RIGHT
    top: int = TOP
    bottom: int = BOTTOM

    @property
    def wide(self) -> int:
        return self.right - self.left

    @property
    def tall(self) -> int:
        return self.bottom - self.top

    @property
    def on_paper(self) -> tuple[int, int]:
        return PAPER, round(HEIGHT * PAPER / WIDTH)


def chart(of: Months) -> Chart:
    most = max(
        [0.02]
        + [row.share for row in of.rows]
        + [row.in_the_end for row in of.rows if not row.is_complete and row.repairs]
        + [row.high for row in of.rows if row.high is not None]
    )
    step = next((s for s in STEPS if most / s <= 6), STEPS[-1])
    end = min(1.0, step * (int(most / step) + 1))
    width = (RIGHT - LEFT) / max(len(of.rows), 1)

    def y(share: float) -> float:
        return round(BOTTOM - (BOTTOM - TOP) * min(share, end) / end, 1)

    points = [
        Point(
            row=row,
            x=round(LEFT + width * (n + 0.5), 1),
            left=round(LEFT + width * n, 1),
            width=round(width, 1),
            y=y(row.share),
            y_end=y(row.in_the_end),
            low=None if row.low is None else y(row.low),
            high=None if row.high is None else y(row.high),
            label=f"{row.month:%b}",
            year=f"{row.month:%Y}" if n == 0 or row.month.month == 1 else "",
        )
        for n, row in enumerate(of.rows)
    ]
    drawn = [p for p in points if p.row.is_complete and p.row.repairs]
    return Chart(
        points=points,
        ticks=[
            Tick(y(n * step), f"{round(n * step * 100, 1):g} %")
            for n in range(round(end / step) + 1)
        ],
        centre=None if of.centre is None else y(of.centre),
        path="M" + "L".join(f"{p.x} {p.y}" for p in drawn) if len(drawn) > 1 else "",
    )
