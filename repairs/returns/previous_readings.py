"""What the test points read when the fault that is back was repaired before."""

from collections.abc import Iterable

from django.db.models import Subquery

from repairs.jobs import states
from repairs.jobs.models import Job, Reading, ReturnAssessment
from shopdesk.lookup import normalize_search

Previous = dict[str, Reading]
"""The last reading of each test point on the earlier job, by its name for searching."""


def previous_readings(job: Job) -> Previous:
    """Return those of the earlier job of a return with the same fault, in one query."""
    last = ReturnAssessment.objects.filter(job=job).order_by("-id")
    found = Reading.objects.alias(what=Subquery(last.values("assessment")[:1]))
    earlier = Subquery(last.values("earlier__job")[:1])
    return by_point(found.filter(what=states.SAME_FAULT, job=earlier))


def by_point(readings: Iterable[Reading]) -> Previous:
    """Return the last reading of each test point; those after a repair go first."""
    latest = sorted(readings, key=lambda one: one.stage == Reading.Stage.AFTER)
    return {normalize_search(reading.test_point): reading for reading in latest}
