"""Finds the good readings of a model: those from which usual values are taken."""

from collections import defaultdict

from django.db.models import F

from repairs.customers.models import Device
from repairs.jobs import states
from repairs.jobs.bench_notation import Measured, passes
from repairs.jobs.models import Job, Reading
from repairs.knowledge.usual_readings import (
    MIN_READINGS,
    Kind,
    UsualReading,
    usual_reading,
)
from shopdesk.lookup import normalize_search

LATEST = 500  # readings of a model that are looked at; more change a median little

UsualByPoint = dict[str, dict[Kind, UsualReading]]
"""Usual readings by test point, written as for a search, and kind of reading."""


def usual_readings(device: Device, *, except_job: Job) -> UsualByPoint:
    """Return what good devices of this model read, of its board revision if known.

    A reading is good if it passed, or was made after the repair on a job that was
    closed as fixed and did not fail.
    """
    found = Reading.objects.filter(job__device__model=device.model_id)
    # Columns, not records of their own: half the time of the page went into those.
    found = found.exclude(job=except_job).annotate(
        outcome=F("job__outcome"), board=F("job__device__board_revision")
    )
    found = found.only(*Reading.measured_fields, "test_point", "stage")
    grouped: dict = defaultdict(list)
    names = {}
    for reading in found.order_by("-id")[:LATEST]:
        measured = reading.measured
        if not is_good(reading, measured):
            continue
        point = normalize_search(reading.test_point)
        names.setdefault(point, reading.test_point)
        grouped[point, measured.kind].append((measured, reading.board))
    usual: UsualByPoint = defaultdict(dict)
    for (point, kind), readings in grouped.items():
        every = [measured for measured, _ in readings]
        same = [one for one, board in readings if board == device.board_revision]
        if device.board_revision and len(same) >= MIN_READINGS:
            every = same
        if one := usual_reading(names[point], every):
            usual[point][kind] = one
    return dict(usual)


def is_good(reading: Reading, measured: Measured) -> bool:
    """Whether the reading passed, or was made after the repair on a fixed job.

    `reading` is annotated with the `outcome` of its job.
    """
    passed = passes(measured, reading.expected)
    is_from_repaired = (
        reading.stage == Reading.Stage.AFTER and reading.outcome == states.FIXED
    )
    return passed is True or (passed is None and is_from_repaired)
