"""What the pages of the bench show, in a number of questions that does not grow."""

from django.db.models import Exists, F, OuterRef, Prefetch, Subquery

from repairs.faults.models import Check, Fault, Fix
from repairs.jobs.models import Job, Labour, Repair, ReturnAssessment


def bench_rows():
    """The open jobs, with all that one row of the bench's list shows."""
    running = Labour.objects.running().filter(job=OuterRef("pk"))
    return (
        Job.objects.open()
        .for_list()
        .annotate(
            timer_by=Subquery(running.values("by__name")[:1]),
            timer_since=Subquery(running.values("started_at")[:1]),
            is_return=Exists(ReturnAssessment.objects.filter(job=OuterRef("pk"))),
        )
        .order_by(F("due_on").asc(nulls_last=True), "booked_in_on", "id")
    )


def worked_on_by(person):
    """A condition: jobs on which `person` booked minutes or made a step."""
    mine = Job.objects.filter(pk=OuterRef("pk"))
    return Exists(mine.filter(labour__by=person)) | Exists(
        mine.filter(steps__by=person)
    )


def repairs_of(job: Job):
    """The repairs of a job with fault, fix, parts and proof runs."""
    return list(
        job.repairs.select_related("fault", "fix", "job", "by").prefetch_related(
            "parts_used__part",
            "parts_used__delivery",
            "final_tests__by",
            "fix__usual_parts__part",
        )
    )


def past_visits(job: Job):
    """Other visits of the same device, the latest first, with what was done."""
    done = Repair.objects.select_related("fault", "fix")
    return (
        Job.objects.of_device(job.device)
        .exclude(pk=job.pk)
        .prefetch_related(Prefetch("repairs", queryset=done))
    )


def what_may_be_typed():
    """The entries of the book that the page's boxes offer while one types."""
    return {
        "faults_known": Fault.objects.filter(is_retired=False),
        "fixes_known": Fix.objects.filter(is_retired=False),
        "checks_known": Check.objects.filter(is_retired=False),
    }
