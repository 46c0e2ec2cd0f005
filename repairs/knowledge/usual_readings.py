"""What good devices of one model usually read at a test point."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import median

from repairs.jobs.bench_notation import (
    EXACT,
    OPEN,
    Expected,
    Measured,
    format_expected,
    format_reading,
)

MIN_READINGS = 3
# Makes the median absolute deviation of normally distributed readings their standard
# deviation (Rousseeuw and Croux 1993).
NORMAL = Decimal("1.4826")
SPREADS = 3
# Readings of a few equal devices spread less than two meters do. Common practice, no
# source.
MIN_MARGIN = Decimal("0.02")

Kind = tuple[str, Decimal | None, bool]


@dataclass(frozen=True)
class UsualReading:
    """Good readings of one test point and their usual range."""

    test_point: str
    amounts: tuple[Decimal, ...]
    """In the unit without a prefix; none where the usual reading is open."""
    kind: Kind
    count: int

    @property
    def is_open(self) -> bool:
        return not self.amounts

    @property
    def median(self) -> Decimal:
        return median(self.amounts)

    @property
    def spread(self) -> Decimal:
        """The median absolute deviation, scaled to a standard deviation."""
        middle = self.median
        return NORMAL * median(abs(amount - middle) for amount in self.amounts)

    @property
    def expected(self) -> Expected:
        """The median and three spreads around it, or 2 % of it if that is more."""
        if self.is_open:
            return Expected(unit=self.kind[0], is_open=True)
        margin = max(SPREADS * self.spread, abs(self.median) * MIN_MARGIN)
        low, high = self.median - margin, self.median + margin
        if self.median > 0:
            low = max(low, Decimal(0))
        return Expected(_significant(low), _significant(high), self.kind[0])

    @property
    def text(self) -> str:
        return format_expected(self.expected)

    @property
    def median_text(self) -> str:
        if self.is_open:
            return OPEN
        unit, at_hertz, is_diode = self.kind
        middle = _significant(self.median)
        return format_reading(Measured(middle, unit, EXACT, at_hertz, is_diode))

    @property
    def spread_text(self) -> str:
        """The spread in its unit; empty where an open circuit is usual."""
        if self.is_open:
            return ""
        unit, _, is_diode = self.kind
        spread = _significant(self.spread)
        return format_reading(Measured(spread, unit, EXACT, None, is_diode))


def usual_reading(test_point: str, readings: Sequence[Measured]) -> UsualReading | None:
    """Return what good readings of one kind tell; None if they are too few.

    Where most are open circuits, an open circuit is usual. `>1M` is counted but has no
    place on a scale.
    """
    if len(readings) < MIN_READINGS:
        return None
    kind = readings[0].kind
    opened = sum(reading.relation == OPEN for reading in readings)
    exact = tuple(r.amount for r in readings if r.relation == EXACT)
    if 2 * opened > len(readings):
        return UsualReading(test_point, (), kind, len(readings))
    if len(exact) < MIN_READINGS:
        return None
    return UsualReading(test_point, exact, kind, len(exact))


def _significant(amount: Decimal) -> Decimal:
    """Round to four significant digits, more than a bench meter is good for."""
    return round(amount, 3 - amount.adjusted()) if amount else amount


# --- the strip plot ---------------------------------------------------------------

WIDTH, MARGIN = 150, 6


@dataclass(frozen=True)
class StripPlot:
    """Positions on the strip, in units of the drawing."""

    dots: list[float]
    middle: float
    low: float
    high: float
    here: list[float]
    width: int = WIDTH

    @property
    def span(self) -> float:
        return round(self.high - self.low, 1)


def strip_plot(usual: UsualReading, *, here: Iterable[Decimal]) -> StripPlot | None:
    """Return each good reading as a dot, the usual range, and the readings of `here`.

    There is none where an open circuit is usual.
    """
    low, high = usual.expected.low, usual.expected.high
    if low is None or high is None:
        return None
    here = list(here)
    every = [*usual.amounts, *here, low, high]
    start, end = min(every), max(every)
    scale = (WIDTH - 2 * MARGIN) / float(end - start or 1)

    def position(amount: Decimal) -> float:
        return round(MARGIN + float(amount - start) * scale, 1)

    return StripPlot(
        dots=sorted({position(amount) for amount in usual.amounts}),
        middle=position(usual.median),
        low=position(low),
        high=position(high),
        here=[position(amount) for amount in here],
    )
