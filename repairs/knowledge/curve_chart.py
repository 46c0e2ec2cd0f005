"""Comeback curves: Kaplan–Meier of each fix of a fault, drawn as steps by a template.

Each curve is from the fix's own repairs. Lengths are in units of the drawing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate.kaplan_meier import beta_product_interval
from repairs.comebacks.estimate.rate import TAIL_PROBABILITY
from repairs.comebacks.risk_chart import WIDTH, fit_on_paper, shorten
from repairs.comebacks.watch import Counts
from shopdesk.look.axis import Axis, Tick, share_axis, share_label
from shopdesk.look.formats import format_share, format_share_range

HEIGHT = 340
LEFT, RIGHT, TOP, BOTTOM = 56, 560, 34, 296
MIN_NAME_GAP = 15  # distance between the names at the ends of two curves
MAX_NAME = 26  # characters right of the curves
MAX_CURVES = 5  # more curves are hard to tell apart
MAX_POINTS = 9  # with figures, on a curve
DAY_STEPS = (1, 2, 5, 10, 15, 30, 60, 90, 120)
FIGURES = ("at_risk", "comebacks", "risk", "low", "high")
DASHES = ("", "8 3", "2 3", "10 3 2 3", "5 5")
SHAPES = (
    "m-4 -4h8v8h-8z",
    "m0 -5l5 9h-10z",
    "m0 -5l5 5l-5 5l-5 -5z",
    "m0 5l5 -9h-10z",
    "m-4 -1.5h2.5v-2.5h3v2.5h2.5v3h-2.5v2.5h-3v-2.5h-2.5z",
)


class CurvePoint(NamedTuple):
    """A day on one curve: its figures, and where it is drawn."""

    fix: str
    shape: str
    day: int
    at_risk: int
    comebacks: int
    risk: float
    low: float
    high: float
    x: float
    y: float

    @property
    def text(self) -> str:
        return (
            f"{self.fix}, day {self.day}: {self.comebacks} comebacks, {self.at_risk} at"
            f" risk; probability {format_share(self.risk)}"
            f" ({format_share_range(self.low, self.high)})"
        )


@dataclass(frozen=True)
class Curve:
    """One fix with its figures, a row for each day of its follow-up."""

    row: Row
    figures: pd.DataFrame
    place: int
    y_name: float
    in_focus: bool

    @property
    def name(self) -> str:
        return shorten(self.row.fix, MAX_NAME)

    @property
    def dash(self) -> str:
        return DASHES[self.place]

    @property
    def steps(self) -> str:
        """Return the curve as an SVG path."""
        return _path(self._corners("y"))

    @property
    def censored(self) -> str:
        """Return the ticks where follow-up ended without a comeback."""
        ends = self.figures[self.figures["censored"] > 0]
        positions = zip(ends["x"], ends["y"], strict=True)
        return "".join(f"M{x} {y - 5}v5" for x, y in positions)

    @property
    def band(self) -> str:
        """Return the interval of the curve in focus; empty for the others."""
        if not self.in_focus:
            return ""
        upper, lower = self._corners("y_high"), self._corners("y_low")
        return f"{_path(upper)}L{_path(lower[::-1])[1:]}z"

    def _corners(self, column: str) -> list[tuple[float, float]]:
        positions = list(zip(self.figures["x"], self.figures[column], strict=True))
        corners = positions[:1]
        for x, y in positions:
            if y != corners[-1][1]:
                corners += [(x, corners[-1][1]), (x, y)]
        return [*corners, positions[-1]]

    @cached_property
    def points(self) -> list[CurvePoint]:
        """Return days with a comeback, evenly chosen if there are many, and the last
        day.
        """
        rises = np.flatnonzero(np.diff(self.figures["comebacks"], prepend=0))
        if len(rises) > MAX_POINTS - 1:
            rises = rises[np.linspace(0, len(rises) - 1, MAX_POINTS - 1).astype(int)]
        chosen = self.figures.loc[sorted({*rises, len(self.figures) - 1})]
        return [
            CurvePoint(self.row.fix, SHAPES[self.place], *values)
            for values in chosen[[*FIGURES, "x", "y"]].itertuples(name=None)
        ]

    @property
    def end(self) -> CurvePoint:
        return self.points[-1]


@dataclass(frozen=True)
class CurveChart:
    curves: list[Curve]
    days: list[Tick]
    risks: list[Tick]
    limit: float
    y_limit_name: float
    left_out: int
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = RIGHT
    bottom: int = BOTTOM

    @property
    def points(self) -> list[CurvePoint]:
        return [point for curve in self.curves for point in curve.points]

    @property
    def on_paper(self) -> tuple[int, int]:
        return fit_on_paper(self.width, self.height)

    @property
    def has_band(self) -> bool:
        return any(curve.in_focus for curve in self.curves)


def curve_chart(
    rows: Sequence[Row], *, counts: Counts, limit: float, focus: int | None = None
) -> CurveChart:
    """Return the curves of these fixes of one fault, from the counts of the table.

    `focus` is the id of the fix whose interval is drawn as a band. If there are too
    many fixes to tell apart, the most frequent are drawn.
    """
    order = sorted(rows, key=lambda row: (row.fix_id != focus, -row.repairs))
    drawn = sorted(
        order[:MAX_CURVES], key=lambda row: (row.fix_id != focus, rows.index(row))
    )
    figures = [_figures(counts.select([row.number])) for row in drawn]
    highest = [limit * 1.5, 0.02, *(each["risk"].max() * 1.15 for each in figures)]
    if drawn[0].fix_id == focus:
        highest.append(figures[0]["high"].iloc[-1])
    risks = share_axis(min(1.0, max(highest)), start=BOTTOM, stop=TOP)
    step = next((s for s in DAY_STEPS if counts.within / s <= 7), DAY_STEPS[-1])
    days = Axis(start=LEFT, stop=RIGHT, end=counts.within, step=step)
    placed = [
        each.assign(
            x=each.index.map(days.position),
            y=each["risk"].map(risks.position),
            y_low=each["low"].map(risks.position),
            y_high=each["high"].map(risks.position),
        )
        for each in figures
    ]
    y_limit = risks.position(limit)
    *names, y_limit_name = _spread([*(each["y"].iloc[-1] for each in placed), y_limit])
    return CurveChart(
        curves=[
            Curve(row, each, place, y_name, in_focus=row.fix_id == focus)
            for place, (row, each, y_name) in enumerate(
                zip(drawn, placed, names, strict=True)
            )
        ],
        days=days.ticks(lambda day: f"{day:g}"),
        risks=risks.ticks(share_label),
        limit=y_limit,
        y_limit_name=y_limit_name,
        left_out=len(rows) - len(drawn),
    )


def _figures(counts: Counts) -> pd.DataFrame:
    """Return the figures of one fix on each day of its follow-up, from 0."""
    events, exits, at_risk = counts.events[0], counts.exits[0], counts.at_risk[0]
    after = at_risk - exits
    after[-1] = counts.completed[0]
    is_so_far = np.tri(counts.within + 1, dtype=np.int64)
    survival_low, survival_high = beta_product_interval(
        is_so_far * events, at_risk, after=after, tail=TAIL_PROBABILITY
    )
    censored = exits - events
    censored[-1] = 0  # followed up for the whole period
    figures = pd.DataFrame(
        {
            "at_risk": after,
            "comebacks": events.cumsum(),
            "risk": 1.0 - np.cumprod(1.0 - events / np.maximum(at_risk, 1)),
            "low": 1.0 - survival_high,
            "high": 1.0 - survival_low,
            "censored": censored,
        }
    )
    return figures[: counts.longest_follow_up + 1]


def _path(corners: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x} {y}" for x, y in corners)


def _spread(heights: Sequence[float]) -> list[float]:
    """Return these heights, moved as little as needed to keep names apart."""
    order = sorted(range(len(heights)), key=lambda n: heights[n])
    placed = [0.0] * len(heights)
    lowest = float("-inf")
    for n in order:
        placed[n] = max(heights[n], lowest + MIN_NAME_GAP)
        lowest = placed[n]
    end = BOTTOM + 2
    limit = end if lowest > end else float("inf")
    for n in reversed(order):
        placed[n] = min(placed[n], limit)
        limit = placed[n] - MIN_NAME_GAP
    return [round(y + 4, 1) for y in placed]
