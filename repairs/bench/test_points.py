"""The readings of a job by test point, beside what is usual on the model."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from repairs.jobs import states
from repairs.jobs.bench_notation import EXACT
from repairs.jobs.models import Job, Reading
from repairs.knowledge.good_readings import UsualByPoint
from repairs.knowledge.usual_readings import StripPlot, UsualReading, strip_plot
from repairs.returns.previous_readings import Previous
from shopdesk.lookup import normalize_search

MAX_NOT_MEASURED = 6  # usual test points that are shown before they are measured


@dataclass
class TestPoint:
    """One test point: its readings before and after the repair, and the usual one."""

    __test__ = False  # for pytest

    name: str
    usual: UsualReading | None = None
    previous: Reading | None = None
    before: list[Reading] = field(default_factory=list)
    after: list[Reading] = field(default_factory=list)

    @property
    def expected_text(self) -> str:
        """What was expected of the latest reading, else the usual range."""
        readings = self.after or self.before
        if readings:
            return readings[-1].expected_text
        if self.previous and (text := self.previous.expected_text):
            return text
        return self.usual.text if self.usual else ""

    @property
    def has_failed(self) -> bool:
        """Whether the latest reading failed."""
        return (self.after or self.before)[-1].passes is False

    @property
    def stages(self) -> list[tuple[str, list[Reading]]]:
        return [("Before", self.before), ("After", self.after)]

    @property
    def strip(self) -> StripPlot | None:
        return strip_plot(self.usual, here=self._amounts) if self.usual else None

    @property
    def _amounts(self) -> list[Decimal]:
        """The readings that can be compared with the usual ones."""
        assert self.usual is not None
        measured = [reading.measured for reading in (*self.before, *self.after)]
        return [
            one.amount
            for one in measured
            if one.kind == self.usual.kind and one.relation == EXACT
        ]


def stage_of(job: Job) -> str:
    """What a measurement taken now would most likely be."""
    is_after = job.state in states.IN_FINAL_TEST
    return Reading.Stage.AFTER if is_after else Reading.Stage.BEFORE


def points_of(
    readings: Iterable[Reading], *, usual: UsualByPoint, previous: Previous
) -> list[TestPoint]:
    """Return the points measured, failed ones first, then those of the earlier job and
    the most usual others."""
    points: dict[str, TestPoint] = {}
    for reading in readings:
        key = normalize_search(reading.test_point)
        kinds = usual.get(key, {})
        known = kinds.get(reading.measured.kind)
        point = points.setdefault(key, TestPoint(reading.test_point))
        point.usual = point.usual or known
        is_after = reading.stage == Reading.Stage.AFTER
        (point.after if is_after else point.before).append(reading)
    for key, point in points.items():
        point.previous = previous.get(key)
    earlier = {
        key: TestPoint(reading.test_point, previous=reading)
        for key, reading in previous.items()
        if key not in points
    }
    others = [
        max(kinds.values(), key=lambda one: one.count)
        for key, kinds in usual.items()
        if key not in points and key not in earlier
    ]
    others.sort(key=lambda one: -one.count)
    return [
        *sorted(points.values(), key=lambda point: not point.has_failed),
        *earlier.values(),
        *(TestPoint(one.test_point, one) for one in others[:MAX_NOT_MEASURED]),
    ]
