"""Comeback curves: Kaplan–Meier of each fix of a fault, drawn as steps by a template.

Each from its own repairs. Measures are in units of the drawing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate.kaplan_meier import beta_product_interval
from repairs.comebacks.estimate.rate import TAIL_PROBABILITY
from repairs.comebacks.risk_chart import WIDTH, fit_on_paper, shorten
from repairs.comebacks.watch import Counts, Floats
from shopdesk.look.axis import Axis, Tick, share_axis, share_label
from shopdesk.look.formats import format_share, format_share_range

HEIGHT = 340
LEFT, RIGHT, TOP, BOTTOM = 56, 560, 34, 296
MIN_NAME_GAP = 15  # between the names at the ends of two curves
MAX_NAME = 26  # letters right of the curves
MAX_CURVES = 5  # more cannot be told apart
MAX_POINTS = 9  # with figures, on a curve
DAY_STEPS = (1, 2, 5, 10, 15, 30, 60, 90, 120)
DASHES = ("", "8 3", "2 3", "10 3 2 3", "5 5")
SHAPES = (
    "M{x} {y}m-4 -4h8v8h-8z",
    "M{x} {y}m0 -5l5 9h-10z",
    "M{x} {y}m0 -5l5 5l-5 5l-5 -5z",
    "M{x} {y}m0 5l5 -9h-10z",
    "M{x} {y}m-4 -1.5h2.5v-2.5h3v2.5h2.5v3h-2.5v2.5h-3v-2.5h-2.5z",
)


@dataclass(frozen=True)
class CurvePoint:
    """A day of one curve with its figures."""

    x: float
    y: float
    shape: str
    fix: str
    day: int
    at_risk: int
    comebacks: int
    risk: float
    low: float
    high: float

    @property
    def text(self) -> str:
        return (
            f"{self.fix}, day {self.day}: {self.comebacks} comebacks, {self.at_risk} at"
            f" risk; probability {format_share(self.risk)}"
            f" ({format_share_range(self.low, self.high)})"
        )


@dataclass(frozen=True)
class Curve:
    row: Row
    dash: str
    steps: str
    """The curve as the path of an SVG."""
    censored: str
    """Marks where follow-up ended without a comeback."""
    band: str
    """The interval of the curve in focus; empty for the others."""
    points: list[CurvePoint]
    end: tuple[float, float]
    y_name: float

    @property
    def name(self) -> str:
        return shorten(self.row.fix, MAX_NAME)

    @property
    def text(self) -> str:
        return self.points[-1].text


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
        return any(curve.band for curve in self.curves)


@dataclass(frozen=True)
class _Series:
    """One fix by day 0…H."""

    risk: Floats
    low: Floats
    high: Floats
    at_risk: Floats
    comebacks: Floats
    censored: Floats
    last: int


@dataclass(frozen=True)
class _Area:
    """Where days and risks are drawn."""

    days: Axis
    risks: Axis

    def point(self, day: int, risk: float) -> tuple[float, float]:
        return self.days.position(day), self.risks.position(risk)


def curve_chart(
    rows: Sequence[Row], *, counts: Counts, limit: float, focus: int | None = None
) -> CurveChart:
    """Return the curves of these fixes of one fault; `counts` are in the same order.

    `focus` is the row whose interval is drawn as a band. Of more fixes than can be told
    apart the most frequent are drawn.
    """
    order = sorted(range(len(rows)), key=lambda n: (n != focus, -rows[n].repairs))
    drawn = sorted(order[:MAX_CURVES], key=lambda n: (n != focus, n))
    series = [_series(counts.select([n])) for n in drawn]
    within = counts.within
    risks = share_axis(
        _highest(series, limit, has_focus=focus is not None),
        start=BOTTOM,
        stop=TOP,
    )
    step = next((s for s in DAY_STEPS if within / s <= 7), DAY_STEPS[-1])
    days = Axis(start=LEFT, stop=RIGHT, end=within, step=step)
    area = _Area(days, risks)
    ends = [risks.position(float(each.risk[each.last])) for each in series]
    *names, limit_name = _spread([*ends, risks.position(limit)])
    return CurveChart(
        curves=[
            _curve(rows[n], each, area, place, y_name=y, has_band=n == focus)
            for place, (n, each, y) in enumerate(zip(drawn, series, names, strict=True))
        ],
        days=days.ticks(lambda day: f"{day:g}"),
        risks=risks.ticks(share_label),
        limit=risks.position(limit),
        y_limit_name=limit_name,
        left_out=len(rows) - len(drawn),
    )


def _highest(series: list[_Series], limit: float, *, has_focus: bool) -> float:
    wanted = [float(each.risk.max()) * 1.15 for each in series] + [limit * 1.5, 0.02]
    if has_focus:
        wanted += [float(each.high[each.last]) for each in series[:1]]
    return min(1.0, max(wanted))


def _series(counts: Counts) -> _Series:
    """Return one row of counts, day by day."""
    at_risk, events = counts.at_risk, counts.events
    after = at_risk - counts.exits
    after[:, -1] = counts.completed
    risk = 1.0 - np.cumprod(1.0 - events / np.maximum(at_risk, 1), axis=1)[0]
    changes = np.flatnonzero(counts.exits[0])
    low, high = np.zeros(counts.within + 1), np.ones(counts.within + 1)
    for day in range(counts.within + 1):
        if day and not counts.exits[0, day]:
            low[day], high[day] = low[day - 1], high[day - 1]
            continue
        survival_low, survival_high = beta_product_interval(
            events[:, : day + 1],
            at_risk[:, : day + 1],
            after=after[:, day],
            tail=TAIL_PROBABILITY,
        )
        low[day] = 1.0 - float(survival_high[0])
        high[day] = 1.0 - float(survival_low[0])
    censored = (counts.exits - events)[0].copy()
    censored[-1] = 0  # followed up for the whole period
    last = int(changes[-1]) if changes.size else 0
    return _Series(risk, low, high, after[0], events[0].cumsum(), censored, last)


def _curve(
    row: Row, series: _Series, area: _Area, place: int, *, y_name: float, has_band: bool
) -> Curve:
    censored = [
        f"M{x} {y - 5}v5"
        for day in np.flatnonzero(series.censored[: series.last + 1]).tolist()
        for x, y in [area.point(day, series.risk[day])]
    ]
    band = ""
    if has_band:
        upper = _corners(series.high, area, series.last)
        lower = _corners(series.low, area, series.last)
        band = f"{_path(upper)}L{_path(lower[::-1])[1:]}z"
    shape = SHAPES[place % len(SHAPES)]
    points = [_point(row, series, day, area, shape) for day in _point_days(series)]
    return Curve(
        row=row,
        dash=DASHES[place % len(DASHES)],
        steps=_path(_corners(series.risk, area, series.last)),
        censored="".join(censored),
        band=band,
        points=points,
        end=(points[-1].x, points[-1].y),
        y_name=y_name,
    )


def _corners(values: Floats, area: _Area, last: int) -> list[tuple[float, float]]:
    corners = [area.point(0, float(values[0]))]
    for day in range(1, last + 1):
        x, y = area.point(day, float(values[day]))
        if y != corners[-1][1]:
            corners += [(x, corners[-1][1]), (x, y)]
    return [*corners, (area.days.position(last), corners[-1][1])]


def _path(corners: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x} {y}" for x, y in corners)


def _point_days(series: _Series) -> list[int]:
    """Return days with a comeback, evenly chosen if there are many, and the last."""
    rises = np.flatnonzero(np.diff(series.comebacks, prepend=0))
    if len(rises) > MAX_POINTS - 1:
        rises = rises[np.linspace(0, len(rises) - 1, MAX_POINTS - 1).astype(int)]
    return sorted({*rises.tolist(), series.last})


def _point(row: Row, series: _Series, day: int, area: _Area, shape: str) -> CurvePoint:
    x, y = area.point(day, float(series.risk[day]))
    return CurvePoint(
        x=x,
        y=y,
        shape=shape.format(x=x, y=y),
        fix=row.fix,
        day=day,
        at_risk=int(series.at_risk[day]),
        comebacks=int(series.comebacks[day]),
        risk=float(series.risk[day]),
        low=float(series.low[day]),
        high=float(series.high[day]),
    )


def _spread(wanted: Sequence[float]) -> list[float]:
    """Return these heights, moved as little as keeps names from overlapping."""
    order = sorted(range(len(wanted)), key=lambda n: wanted[n])
    placed = [0.0] * len(wanted)
    lowest = float("-inf")
    for n in order:
        placed[n] = max(wanted[n], lowest + MIN_NAME_GAP)
        lowest = placed[n]
    end = BOTTOM + 2
    limit = end if lowest > end else float("inf")
    for n in reversed(order):
        placed[n] = min(placed[n], limit)
        limit = placed[n] - MIN_NAME_GAP
    return [round(y + 4, 1) for y in placed]
