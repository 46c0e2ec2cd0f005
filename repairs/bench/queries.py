"""What the pages of the bench show, in a number of queries that does not grow."""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Exists, OuterRef, Prefetch, Q, Subquery
from django.db.models import prefetch_related_objects as prefetch
from django.db.models.functions import Coalesce
from django.shortcuts import get_object_or_404

from repairs.faults.models import Fix, Symptom, UsualPart
from repairs.jobs import states
from repairs.jobs.models import (
    FinalTest,
    Job,
    Labour,
    PartReservation,
    PartUsed,
    Reading,
    Repair,
    ReturnAssessment,
    UnstockedPart,
)
from repairs.photos.models import Photo
from repairs.stock.models import reserved_of


def worked_on_by(person):
    """A condition: jobs on which `person` booked minutes or made a step."""
    mine = Job.objects.filter(pk=OuterRef("pk"))
    return Exists(mine.filter(labour__by=person)) | Exists(
        mine.filter(transitions__by=person)
    )


def job_of(pk, *, user) -> Job:
    """The job of a page, with `was_here`: whether its device has other visits,
    `has_readings`, `has_unstocked` parts, `photo_count`, and `timer_elsewhere`: the
    number of another job on which the user's timer runs."""
    other = Job.objects.filter(device=OuterRef("device")).exclude(pk=OuterRef("pk"))
    timer = Labour.objects.running().filter(by=user).exclude(job=OuterRef("pk"))
    found = Job.objects.select_related(
        "device__model", "customer", "changed_by", "assigned_to"
    )
    found = found.annotate(
        was_here=Exists(other),
        has_unstocked=Exists(UnstockedPart.objects.filter(repair__job=OuterRef("pk"))),
        has_readings=Exists(Reading.objects.filter(job=OuterRef("pk"))),
        photo_count=Coalesce(Subquery(Photo.objects.counts_of(OuterRef("pk"))), 0),
        timer_elsewhere=Subquery(timer.values("job__number")[:1]),
    )
    return get_object_or_404(found, pk=pk)


def with_repairs(job: Job) -> None:
    """Fetch what every part of the page needs."""
    repairs = Repair.objects.select_related("fault", "fix", "by").with_parts()
    prefetch(
        [job],
        Prefetch("repairs", repairs),
        Prefetch("repairs__final_tests", FinalTest.objects.select_related("by")),
        Prefetch("decisions", ReturnAssessment.objects.select_related("earlier__job")),
    )


def fetch_labour(job: Job) -> None:
    prefetch(
        [job], Prefetch("labour", Labour.objects.select_related("by", "repair__fault"))
    )


def fetch_parts(repairs: list[Repair]) -> None:
    """Fetch the parts that are booked on the repairs."""
    used = PartUsed.objects.select_related("part", "delivery")
    prefetch(repairs, Prefetch("parts_used", used))


def unstocked_parts(job: Job) -> list[UnstockedPart]:
    """The parts of the job that were never in stock."""
    if not job.has_unstocked:
        return []
    found = UnstockedPart.objects.filter(repair__job=job)
    return list(found.select_related("repair__fault").order_by("id"))


def fetch_usual_parts(repairs: list[Repair]) -> None:
    """Fetch the parts that the fixes usually need, each with `is_booked`."""
    booked = PartUsed.objects.filter(
        part=OuterRef("part"), repair__fix=OuterRef("fix"), repair__in=repairs
    )
    usual = UsualPart.objects.select_related("part").order_by("pk")
    usual = usual.annotate(is_booked=Exists(booked), part_reserved=reserved_of("part"))
    prefetch(repairs, Prefetch("fix__usual_parts", usual))
    for repair in repairs:
        for one in repair.fix.usual_parts.all() if repair.fix else ():
            one.part.reserved = one.part_reserved


def reservations_of(job: Job) -> list[PartReservation]:
    """The parts that are reserved for the job, each with the stock of the part.

    A job that is tested needs no more parts.
    """
    if job.state not in states.IN_WORK - {states.TESTED}:
        return []
    found = list(
        job.reservations.active()
        .select_related("part")
        .annotate(part_reserved=reserved_of("part"))
    )
    for one in found:
        one.part.reserved = one.part_reserved
    return found


def past_visits(job: Job) -> list[Job]:
    """Other visits of the same device, the latest first, with what was done."""
    other = Job.objects.of_device(job.device).exclude(pk=job.pk)
    return other.visits(on=job.booked_in_on) if job.was_here else []


def symptoms_for(job: Job) -> list[Symptom]:
    """The symptoms to choose from, each with `is_seen`; one seen stays if retired."""
    seen = Job.symptoms.through.objects.filter(job=job, symptom=OuterRef("pk"))
    found = Symptom.objects.annotate(is_seen=Exists(seen))
    return list(found.filter(Q(is_retired=False) | Q(is_seen=True)))


def not_retired(model) -> list:
    """The entries of the fault book that a box offers while one types."""
    return list(model.objects.filter(is_retired=False))


def fixes_of_faults(faults: Iterable[int]) -> dict[int, list[Fix]]:
    """Of each fault the fixes that the fault book names for it."""
    named = defaultdict(list)
    links = Fix.faults.through.objects.filter(fault__in=list(faults))
    for link in links.select_related("fix").order_by("fix__code"):
        if not link.fix.is_retired:
            named[link.fault_id].append(link.fix)
    return named
