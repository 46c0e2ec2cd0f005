"""What a return may be held against."""

from repairs.jobs import states
from repairs.jobs.cover import is_covered
from repairs.jobs.models import Job, Repair


def earlier_repairs(job: Job):
    """Repairs of this device that were handed back before the job came in."""
    return (
        Repair.objects.filter(
            job__device=job.device_id,
            job__state=states.HANDED_BACK,
            job__handed_back_on__lte=job.booked_in_on,
        )
        .exclude(job=job)
        .select_related("job", "fault", "fix")
        .order_by("-job__handed_back_on", "-id")
    )


def as_rows(repairs, *, on):
    """Each repair with the days since, and whether its cover reached the day `on`."""
    return [
        {
            "repair": repair,
            "days": (on - repair.job.handed_back_on).days,
            "is_covered": is_covered(on, until=repair.covered_until),
        }
        for repair in repairs
    ]
