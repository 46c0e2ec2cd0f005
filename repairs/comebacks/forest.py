"""Where things stand in the picture of risks: one line a pair, drawn by a template.

Measures are in units of the picture, which is `WIDTH` wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from repairs.comebacks.rows import Row

WIDTH = 760
PAPER = 680
LEFT, RIGHT = 262, 590  # between them lies the scale of the risk
TOP, STEP, FOOT = 44, 28, 34
LETTER = 6.3  # the width of one, about
LONGEST = 36  # letters of a name that fit left of the scale


@dataclass(frozen=True)
class Tick:
    x: float
    said: str


@dataclass(frozen=True)
class Line:
    """One pair: its name, its risk with limits, and the same by its repairs alone."""

    row: Row
    y: float
    name: str
    x: float
    low: float
    high: float
    alone: float
    alone_low: float
    alone_high: float

    @property
    def y_alone(self) -> float:
        return self.y + 9

    @property
    def y_text(self) -> float:
        return self.y + 5

    @property
    def said(self) -> str:
        """All figures of the line, shown when it is pointed at."""
        row = self.row
        return (
            f"risk {row.risk_said} ({row.limits_said}), by itself {row.alone_said},"
            f" {row.returned_said} came back: {row.verdict}"
        )

    @property
    def tip(self) -> tuple[float, float, float]:
        """Where the box of these figures lies, and its width: above its own line."""
        width = round(len(self.said) * LETTER + 16, 1)
        return round(max(4.0, RIGHT - width), 1), self.y - 33, width


@dataclass(frozen=True)
class Forest:
    lines: list[Line]
    ticks: list[Tick]
    limit: float
    height: int
    part: int = 0
    """Which part of a picture that goes over several; 0 of one that is whole."""
    width: int = WIDTH
    left: int = LEFT
    right: int = RIGHT

    @property
    def on_paper(self) -> tuple[int, int]:
        """Width and height that fit between the margins of either paper."""
        return PAPER, round(self.height * PAPER / self.width)

    @property
    def bottom(self) -> int:
        return self.height - FOOT

    @property
    def y_ticks(self) -> int:
        return self.height - FOOT + 18


def forests(rows: Sequence[Row], *, limit: float, lines: int) -> list[Forest]:
    """The picture in parts of so many lines, which pages can break between."""
    return [
        forest(rows[n : n + lines], limit=limit, scaled_by=rows, part=n // lines + 1)
        for n in range(0, len(rows), lines)
    ]


def forest(
    rows: Sequence[Row],
    *,
    limit: float,
    scaled_by: Sequence[Row] = (),
    part: int = 0,
) -> Forest:
    """The picture of these rows in their order; `limit` is the line not to cross.

    Its scale is that of `scaled_by`, so that parts of one picture can be compared.
    """
    most = max([row.high for row in scaled_by or rows] + [limit * 1.5, 0.02])
    step = next(s for s in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2) if most / s <= 6)
    end = min(1.0, step * (int(most / step) + 1))

    def x(chance: float) -> float:
        return round(LEFT + (RIGHT - LEFT) * min(chance, end) / end, 1)

    lines = [
        Line(
            row=row,
            y=TOP + STEP * number,
            name=_cut(row.called),
            x=x(row.risk),
            low=x(row.low),
            high=x(row.high),
            alone=x(row.alone),
            alone_low=x(row.alone_low),
            alone_high=x(row.alone_high),
        )
        for number, row in enumerate(rows)
    ]
    marks = round(end / step)
    return Forest(
        lines=lines,
        ticks=[Tick(x(n * step), _percent(n * step)) for n in range(marks + 1)],
        limit=x(limit),
        height=TOP + STEP * len(rows) + FOOT,
        part=part,
    )


def _percent(chance: float) -> str:
    return f"{round(chance * 100, 1):g} %"


def _cut(name: str) -> str:
    return name if len(name) <= LONGEST else name[: LONGEST - 1] + "…"
