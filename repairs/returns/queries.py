"""What a return may be held against."""

from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from repairs.jobs.warranty import is_in_warranty


def earlier_repairs(job: Job):
    """Repairs of this device that were handed back before the job came in."""
    return (
        Repair.objects.filter(
            job__device=job.device_id,
            job__state=states.HANDED_OVER,
            job__handed_over_on__lte=job.booked_in_on,
        )
        .exclude(job=job)
        .select_related("job", "fault", "fix")
        .order_by("-job__handed_over_on", "-id")
    )


def as_rows(repairs, *, on):
    """Each repair with the days since, and whether its cover reached the day `on`."""
    return [
        {
            "repair": repair,
            "days": (on - repair.job.handed_over_on).days,
            "is_in_warranty": is_in_warranty(on, until=repair.warranty_until),
        }
        for repair in repairs
    ]
