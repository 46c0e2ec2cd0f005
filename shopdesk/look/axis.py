"""The axis of a chart: positions of values and ticks."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

SHARE_STEPS = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2)
MAX_STEPS = 6  # steps on an axis of shares


class Tick(NamedTuple):
    """A mark on an axis: its position in the drawing and its label."""

    position: float
    label: str


@dataclass(frozen=True)
class Axis:
    """A linear axis from 0 at `start` to `end` at `stop`, in units of the drawing."""

    start: float
    stop: float
    end: float
    step: float

    def position(self, value: float) -> float:
        """Return where a value is drawn; a value beyond the end is drawn at the end."""
        part = min(value, self.end) / self.end
        return round(self.start + (self.stop - self.start) * part, 1)

    def ticks(self, label: Callable[[float], str]) -> list[Tick]:
        """Return a tick at every step, labelled by `label`."""
        count = int(self.end / self.step + 1e-9)
        values = [self.step * n for n in range(count + 1)]
        return [Tick(self.position(value), label(value)) for value in values]


def share_axis(most: float, *, start: float, stop: float) -> Axis:
    """Return the axis of shares that ends just above `most`, and at 1 at most."""
    step = next((s for s in SHARE_STEPS if most / s <= MAX_STEPS), SHARE_STEPS[-1])
    end = min(1.0, step * (int(most / step) + 1))
    return Axis(start=start, stop=stop, end=end, step=step)


def share_label(value: float) -> str:
    """Return the label of a tick on an axis of shares: 2.5 %."""
    return f"{round(value * 100, 1):g} %"
