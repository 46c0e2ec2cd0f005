"""What is usually measured on devices with a fault, beside good readings."""

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Count, F

from repairs.faults.models import Fault
from repairs.jobs import states
from repairs.jobs.bench_notation import EXACT, Measured
from repairs.jobs.models import Job, Reading
from repairs.knowledge.good_readings import LATEST, is_good
from repairs.knowledge.usual_readings import (
    Kind,
    StripPlot,
    UsualReading,
    strip_plot,
    usual_reading,
)
from shopdesk.lookup import normalize_search

TOLD = (states.FIXED, states.NOT_REPAIRABLE)
"""Outcomes that say that the device had the fault."""


@dataclass(frozen=True)
class FaultPoint:
    """A test point: what it reads with the fault, and on good devices if known."""

    name: str
    faulty: UsualReading
    usual: UsualReading | None
    amounts: tuple[Decimal, ...]

    @property
    def strip(self) -> StripPlot | None:
        return strip_plot(self.usual, here=self.amounts) if self.usual else None


def fault_points(fault: Fault) -> list[FaultPoint]:
    """Return the test points measured often enough, those measured most first.

    Counted are readings before the repair, or those that failed, on jobs that had this
    fault alone; good ones are those of the same models.
    """
    with_fault = fault.repairs.filter(outcome__in=TOLD).values("job")
    jobs = Job.objects.filter(pk__in=with_fault).annotate(n=Count("repairs"))
    jobs = list(jobs.filter(n=1).order_by("-pk").values_list("pk", "device__model"))
    faulty: dict[tuple[str, Kind], list[Measured]] = defaultdict(list)
    names: dict[str, str] = {}
    for reading in _readings(job__in=[pk for pk, _ in jobs[:LATEST]]):
        is_before = reading.stage == Reading.Stage.BEFORE
        if is_before or (not reading.stage and reading.passes is False):
            point = normalize_search(reading.test_point)
            names.setdefault(point, reading.test_point)
            faulty[point, reading.measured.kind].append(reading.measured)
    good: dict[tuple[str, Kind], list[Measured]] = defaultdict(list)
    if faulty:
        for reading in _readings(job__device__model__in={model for _, model in jobs}):
            point, measured = normalize_search(reading.test_point), reading.measured
            if (point, measured.kind) in faulty and is_good(reading, measured):
                good[point, measured.kind].append(measured)
    found = []
    for (point, kind), readings in faulty.items():
        name = names[point]
        if one := usual_reading(name, readings):
            usual = usual_reading(name, good[point, kind])
            amounts = tuple(r.amount for r in readings if r.relation == EXACT)
            found.append(FaultPoint(name, one, usual, amounts))
    return sorted(found, key=lambda one: -one.faulty.count)


def _readings(**condition):
    found = Reading.objects.filter(**condition).annotate(outcome=F("job__outcome"))
    found = found.only(*Reading.measured_fields, "test_point", "stage")
    return found.order_by("-id")[:LATEST]
