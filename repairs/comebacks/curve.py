"""Return curves: how many of a fix's repairs were back by each day, drawn as steps.

One curve a fix, by its own repairs alone (Kaplan–Meier). Measures are in units of the
picture, which is `WIDTH` wide; a template draws it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from repairs.comebacks.limits import survival_limits
from repairs.comebacks.pairs import TAIL
from repairs.comebacks.rows import Row, between, share
from repairs.comebacks.watch import Counts, Floats

WIDTH, HEIGHT = 760, 340
PAPER = 680
LEFT, RIGHT, TOP, BOTTOM = 56, 560, 34, 296
APART = 15  # between the names at the ends of two curves
LONGEST = 26  # letters of a name that fit right of the curves
MOST = 5  # curves; more can't be told apart
MOST_SPOTS = 9  # figures a curve shows
DASHES = ("", "8 3", "2 3", "10 3 2 3", "5 5")
SHAPES = (
    "M{x} {y}m-4 -4h8v8h-8z",
    "M{x} {y}m0 -5l5 9h-10z",
    "M{x} {y}m0 -5l5 5l-5 5l-5 -5z",
    "M{x} {y}m0 5l5 -9h-10z",
    "M{x} {y}m-4 -1.5h2.5v-2.5h3v2.5h2.5v3h-2.5v2.5h-3v-2.5h-2.5z",
)


@dataclass(frozen=True)
class Spot:
    """A day of one curve, and what was seen by it."""

    x: float
    y: float
    shape: str
    fix: str
    day: int
    watched: int
    returned: int
    chance: float
    low: float
    high: float

    @property
    def chance_said(self) -> str:
        return share(self.chance)

    @property
    def limits_said(self) -> str:
        return between(self.low, self.high)

    @property
    def said(self) -> str:
        return (
            f"{self.fix}, day {self.day}: {self.returned} back so far, {self.watched}"
            f" still watched; {self.chance_said} ({self.limits_said})"
        )


@dataclass(frozen=True)
class Curve:
    row: Row
    name: str
    dash: str
    steps: str
    """The curve as the path of an SVG."""
    cut: str
    """Marks where repairs left the watch without coming back."""
    band: str
    """Limits around the curve that the picture is about; empty around its rivals."""
    spots: list[Spot]
    end: tuple[float, float]
    y_name: float

    @property
    def said(self) -> str:
        return self.spots[-1].said


@dataclass(frozen=True)
class Tick:
    at: float
    said: str


@dataclass(frozen=True)
class Curves:
    curves: list[Curve]
    days: list[Tick]
    chances: list[Tick]
    limit: float
    y_limit_name: float
    left_out: int
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = RIGHT
    top: int = TOP
    bottom: int = BOTTOM

    @property
    def spots(self) -> list[Spot]:
        return [spot for curve in self.curves for spot in curve.spots]

    @property
    def on_paper(self) -> tuple[int, int]:
        return PAPER, round(self.height * PAPER / self.width)

    @property
    def has_band(self) -> bool:
        return any(curve.band for curve in self.curves)


@dataclass(frozen=True)
class _Seen:
    """One fix by day 0…H: what is drawn of it."""

    chance: Floats
    low: Floats
    high: Floats
    watched: Floats
    back: Floats
    cut: Floats
    last: int


def curves(
    rows: Sequence[Row], *, counts: Counts, limit: float, about: int | None = None
) -> Curves:
    """The picture of these fixes of one fault; `counts` are in the same order.

    `about` is the row whose limits are drawn as a band. Of more fixes than can be told
    apart the most often done are drawn.
    """
    order = sorted(range(len(rows)), key=lambda n: (n != about, -rows[n].repairs))
    drawn = sorted(order[:MOST], key=lambda n: (n != about, n))
    seen = [_seen(counts.of([n])) for n in drawn]
    top = _top([float(s.chance.max()) for s in seen], seen[:1], limit, about)
    scale = _Scale(within=counts.within, top=top)
    ends = [scale.y(float(s.chance[s.last])) for s in seen]
    *names, limit_name = _spread([*ends, scale.y(limit)])
    return Curves(
        curves=[
            _curve(rows[n], one, scale, number, y_name=y, has_band=n == about)
            for number, (n, one, y) in enumerate(zip(drawn, seen, names, strict=True))
        ],
        days=[Tick(scale.x(day), str(day)) for day in _days(counts.within)],
        chances=[Tick(scale.y(c), f"{c * 100:g} %") for c in scale.chances],
        limit=scale.y(limit),
        y_limit_name=limit_name,
        left_out=len(rows) - len(drawn),
    )


class _Scale:
    def __init__(self, *, within: int, top: float) -> None:
        self.within = within
        step = next((s for s in (0.01, 0.02, 0.05, 0.1, 0.2) if top / s <= 6), 0.25)
        count = -int(-top // step)
        self.chances = [round(step * n, 4) for n in range(count + 1)]
        self.top = self.chances[-1]

    def x(self, day: float) -> float:
        return round(LEFT + (RIGHT - LEFT) * day / self.within, 1)

    def y(self, chance: float) -> float:
        part = min(chance, self.top) / self.top
        return round(BOTTOM - (BOTTOM - TOP) * part, 1)


def _top(
    chances: list[float], first: list[_Seen], limit: float, about: int | None
) -> float:
    wanted = [c * 1.15 for c in chances] + [limit * 1.5, 0.02]
    if about is not None:
        wanted += [float(s.high[s.last]) for s in first]
    return min(1.0, max(wanted))


def _days(within: int) -> list[int]:
    step = next((s for s in (1, 2, 5, 10, 15, 30, 60, 90) if within / s <= 7), 120)
    return list(range(0, within + 1, step))


def _seen(counts: Counts) -> _Seen:
    """One row of counts, day by day."""
    at_risk, back = counts.at_risk, counts.back
    after = at_risk - counts.left
    after[:, -1] = counts.watched_through
    days = range(counts.within + 1)
    chance = 1.0 - np.cumprod(1.0 - back / np.maximum(at_risk, 1), axis=1)[0]
    changes = np.flatnonzero(counts.left[0])
    last = int(changes[-1]) if changes.size else 0
    low, high = np.zeros(len(days)), np.ones(len(days))
    found = (0.0, 1.0)
    for day in days:
        if day == 0 or counts.left[0, day]:
            keeps, kept = survival_limits(
                back[:, : day + 1],
                at_risk[:, : day + 1],
                after=after[:, day],
                tail=TAIL,
            )
            found = (1.0 - float(kept[0]), 1.0 - float(keeps[0]))
        low[day], high[day] = found
    cut = (counts.left - back)[0].copy()
    cut[-1] = 0  # watched to the end: nothing was cut short
    return _Seen(chance, low, high, after[0], back[0].cumsum(), cut, last)


def _curve(
    row: Row, seen: _Seen, scale: _Scale, number: int, *, y_name: float, has_band: bool
) -> Curve:
    days = range(seen.last + 1)
    cut = [
        f"M{scale.x(day)} {scale.y(seen.chance[day]) - 5}v5"
        for day in days
        if seen.cut[day]
    ]
    band = ""
    if has_band:
        upper = _steps(seen.high, scale, seen.last)
        lower = _steps(seen.low, scale, seen.last, is_backwards=True)
        band = f"{upper}L{lower[1:]}z"
    shape = SHAPES[number % len(SHAPES)]
    name = row.fix if len(row.fix) <= LONGEST else row.fix[: LONGEST - 1] + "…"
    return Curve(
        row=row,
        name=name,
        dash=DASHES[number % len(DASHES)],
        steps=_steps(seen.chance, scale, seen.last),
        cut="".join(cut),
        band=band,
        spots=[_spot(row, seen, day, scale, shape) for day in _spot_days(seen)],
        end=(scale.x(seen.last), scale.y(float(seen.chance[seen.last]))),
        y_name=y_name,
    )


def _steps(
    values: Floats, scale: _Scale, last: int, *, is_backwards: bool = False
) -> str:
    """A step path over the days up to `last`, or the same from its end."""
    corners = [(scale.x(0), scale.y(float(values[0])))]
    for day in range(1, last + 1):
        y = scale.y(float(values[day]))
        if y != corners[-1][1]:
            corners += [(scale.x(day), corners[-1][1]), (scale.x(day), y)]
    corners.append((scale.x(last), corners[-1][1]))
    if is_backwards:
        corners.reverse()
    return "M" + "L".join(f"{x} {y}" for x, y in corners)


def _spot_days(seen: _Seen) -> list[int]:
    """Days on which something came back, evenly chosen if many, and the last."""
    rises = np.flatnonzero(np.diff(seen.back, prepend=0))
    if len(rises) > MOST_SPOTS - 1:
        rises = rises[np.linspace(0, len(rises) - 1, MOST_SPOTS - 1).astype(int)]
    return sorted({*rises.tolist(), seen.last})


def _spot(row: Row, seen: _Seen, day: int, scale: _Scale, shape: str) -> Spot:
    x, y = scale.x(day), scale.y(float(seen.chance[day]))
    return Spot(
        x=x,
        y=y,
        shape=shape.format(x=x, y=y),
        fix=row.fix,
        day=day,
        watched=int(seen.watched[day]),
        returned=int(seen.back[day]),
        chance=float(seen.chance[day]),
        low=float(seen.low[day]),
        high=float(seen.high[day]),
    )


def _spread(wanted: Sequence[float]) -> list[float]:
    """These heights moved as little as keeps names from covering each other."""
    order = sorted(range(len(wanted)), key=lambda n: wanted[n])
    placed = [0.0] * len(wanted)
    lowest = float("-inf")
    for n in order:
        placed[n] = max(wanted[n], lowest + APART)
        lowest = placed[n]
    over = max(0.0, lowest - (BOTTOM + 2))
    limit = float("inf")
    for n in reversed(order):
        placed[n] = min(placed[n], BOTTOM + 2 if over else placed[n], limit)
        limit = placed[n] - APART
    return [round(y + 4, 1) for y in placed]
