"""The forest plot: each pair's risk with its 90 % range, drawn by a template.

Lengths are in units of the drawing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from repairs.comebacks.comeback_table import Row
from shopdesk.look.axis import Tick, share_axis, share_label
from shopdesk.look.formats import format_share

WIDTH, PAPER_WIDTH = 760, 680
LETTER = 6.3  # width of one, about


def fit_on_paper(width: int, height: int) -> tuple[int, int]:
    """Return width and height that fit between the margins of A4 and US Letter."""
    return PAPER_WIDTH, round(height * PAPER_WIDTH / width)


def shorten(name: str, length: int) -> str:
    return name if len(name) <= length else name[: length - 1] + "…"


LEFT, RIGHT = 262, 590  # end of the axis: between these
TOP, STEP, FOOT = 44, 28, 34
MAX_NAME = 36  # characters left of the axis


@dataclass(frozen=True)
class ForestLine:
    """One pair; x and the other figures are positions on the axis."""

    row: Row
    y: float
    x: float
    low: float
    high: float
    own: float
    own_low: float
    own_high: float

    @property
    def name(self) -> str:
        return shorten(self.row.label, MAX_NAME)

    @property
    def text(self) -> str:
        """All figures of the line, shown when it is pointed at."""
        row = self.row
        own = f"{format_share(row.own_risk)} ({row.own_range})"
        return f"{row.verdict}; {row.counts_and_risk}; own repairs only {own}"

    @property
    def tip(self) -> tuple[float, float, float]:
        """Position and width of the box with these figures, above its own line."""
        width = round(len(self.text) * LETTER + 16, 1)
        return round(max(4.0, RIGHT - width), 1), self.y - 33, width


@dataclass(frozen=True)
class ForestPlot:
    lines: list[ForestLine]
    ticks: list[Tick]
    limit: float
    height: int
    part: int = 0
    """The number of a part of a longer plot; 0 for a whole one."""
    width: int = WIDTH
    left: int = LEFT
    right: int = RIGHT

    @property
    def on_paper(self) -> tuple[int, int]:
        return fit_on_paper(self.width, self.height)

    @property
    def bottom(self) -> int:
        return self.height - FOOT

    @property
    def y_ticks(self) -> int:
        return self.height - FOOT + 18


def forest_plots(rows: Sequence[Row], *, limit: float, lines: int) -> list[ForestPlot]:
    """Return the plot in parts of this many lines, between which pages can break."""
    return [
        forest_plot(rows[n : n + lines], limit=limit, scaled_by=rows, part=part)
        for part, n in enumerate(range(0, len(rows), lines), start=1)
    ]


def forest_plot(
    rows: Sequence[Row], *, limit: float, scaled_by: Sequence[Row] = (), part: int = 0
) -> ForestPlot:
    """Return the plot of these rows in their order, with a line at `limit`.

    Its axis fits `scaled_by`, so that parts of one plot can be compared.
    """
    most = max([row.risk_high for row in scaled_by or rows] + [limit * 1.5, 0.02])
    axis = share_axis(most, start=LEFT, stop=RIGHT)
    lines = [
        ForestLine(
            row=row,
            y=TOP + STEP * n,
            x=axis.position(row.risk),
            low=axis.position(row.risk_low),
            high=axis.position(row.risk_high),
            own=axis.position(row.own_risk),
            own_low=axis.position(row.own_low),
            own_high=axis.position(row.own_high),
        )
        for n, row in enumerate(rows)
    ]
    return ForestPlot(
        lines=lines,
        ticks=axis.ticks(share_label),
        limit=axis.position(limit),
        height=TOP + STEP * len(rows) + FOOT,
        part=part,
    )
