"""What the records know already, in the same shape as the rows of a history file."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from decimal import Decimal
from itertools import islice

from django.db.models import Prefetch

from repairs.customers.models import Customer, Device
from repairs.history.beside import lines_read
from repairs.history.links import Serial, Visit
from repairs.history.people import Person
from repairs.history.rows import PartTold, Row
from repairs.jobs import states
from repairs.jobs.models import Job, PartUsed, Repair, ReturnDecision
from repairs.stock.models import Delivery
from shopdesk.fields import plain

AT_ONCE = 400
"""Numbers asked for in one query: SQLite takes a thousand at most."""


def numbers_known(numbers: Iterable[str]) -> set[str]:
    """Those of these job numbers that are on record."""
    return {
        number
        for some in in_pieces(numbers)
        for number in Job.objects.filter(number__in=some).values_list(
            "number", flat=True
        )
    }


def jobs_told(numbers: Iterable[str]) -> Iterator[Job]:
    """The jobs of these numbers with all that a row tells of, a few at a time."""
    parts = PartUsed.objects.select_related("part", "delivery").order_by("id")
    repairs = Repair.objects.select_related("fault", "fix").order_by("id")
    decisions = ReturnDecision.objects.select_related("earlier__job").order_by("id")
    for some in in_pieces(numbers):
        yield from (
            Job.objects.filter(number__in=some)
            .select_related("customer", "device__model")
            .prefetch_related(
                Prefetch("repairs", repairs),
                Prefetch("repairs__parts_used", parts),
                Prefetch("decisions", decisions),
                "labour",
            )
        )


def rows_of(job: Job) -> list[Row]:
    """The rows that a history file would tell of this job."""
    facts = _job_facts(job)
    repairs = list(job.repairs.all())
    loose = sum(work.minutes for work in job.labour.all() if work.repair_id is None)
    if not repairs:
        outcome = job.outcome if job.outcome in states.OUTCOMES else ""
        return [Row(**facts, outcome=outcome, minutes=loose, charged=job.fee_agreed)]
    minutes: dict[int, int] = defaultdict(int)
    for work in job.labour.all():
        minutes[work.repair_id or repairs[0].pk] += work.minutes
    return [
        Row(**facts, **_repair_facts(repair, minutes=minutes[repair.pk]))
        for repair in repairs
    ]


def _job_facts(job: Job) -> dict:
    device, model = job.device, job.device.model
    facts = {
        "line": 0,
        "job": job.number,
        "booked_in": job.booked_in_on,
        "handed_back": job.handed_back_on,
        "customer": job.customer.name,
        "email": job.customer.email,
        "phone": job.customer.phone,
        "kind": model.kind,
        "maker": model.maker,
        "model": model.model,
        "serial": device.serial,
        "complaint": job.complaint,
    }
    for decision in job.decisions.all():
        facts["returned_from"] = decision.earlier.job.number
        facts["return_is"] = "" if decision.what == states.UNDECIDED else decision.what
    return facts | lines_read(job.as_told)


def _repair_facts(repair: Repair, *, minutes: int) -> dict:
    parts = tuple(
        PartTold(
            used.part.number,
            used.quantity,
            used.cost,
            used.delivery.lot if used.delivery else "",
        )
        for used in repair.parts_used.all()
    )
    told = sum((part.cost * part.quantity for part in parts), Decimal(0))
    facts = {
        "fault": repair.fault.code,
        "fault_name": repair.fault.name,
        "fix": repair.fix.code if repair.fix else "",
        "fix_name": repair.fix.name if repair.fix else "",
        "declared": repair.declared,
        "outcome": repair.outcome,
        "minutes": minutes + repair.minutes_from_history,
        "charged": repair.charged,
        "parts_cost": told + repair.parts_cost_from_history,
        "parts": parts,
    }
    return facts | lines_read(repair.as_told)


def visit_of(job: Job, row: Row) -> Visit:
    """A job on record as far as its device and its return go."""
    device = job.device
    return Visit(
        number=job.number,
        line=0,
        booked_in=job.booked_in_on,
        handed_back=job.handed_back_on,
        returned_from=row.returned_from,
        owner=None,
        model=model_key(device.model.kind, device.model.maker, device.model.model),
        serial=(device.maker_key, device.serial_key) if device.serial_key else None,
        device=device.pk,
    )


def model_key(kind: str, maker: str, model: str) -> tuple[str, str, str]:
    """A make and model as it is compared."""
    return plain(kind), plain(maker), plain(model)


def devices_with(serials: Iterable[Serial]) -> dict[Serial, Device]:
    """The devices on record with one of these makers and serials."""
    wanted = set(serials)
    found = {}
    for some in in_pieces({key for _, key in wanted}):
        for device in Device.objects.filter(serial_key__in=some).select_related(
            "model"
        ):
            if (device.maker_key, device.serial_key) in wanted:
                found[device.maker_key, device.serial_key] = device
    return found


def bare_devices(owners: Iterable[int]) -> dict[tuple, Device]:
    """The devices without a serial of these customers, by owner and model."""
    found: dict[tuple, Device] = {}
    for some in in_pieces(set(owners)):
        bare = Device.objects.filter(owner__in=some, serial_key="").order_by("-id")
        for device in bare.select_related("model"):
            model = device.model
            key = model_key(model.kind, model.maker, model.model)
            found[device.owner_id, key] = device
    return found


def people() -> list[Person]:
    """The customers on record, the oldest first."""
    rows = Customer.objects.filter(erased_on=None).order_by("id")
    return [
        Person(name, email, phone, id)
        for id, name, email, phone in rows.values_list("id", "name", "email", "phone")
    ]


def deliveries_of(parts: Iterable[int]) -> dict[tuple[int, str], Delivery]:
    """The first delivery of each lot of these parts."""
    found = {}
    for some in in_pieces(set(parts)):
        rows = Delivery.objects.filter(part__in=some).order_by("-id")
        for delivery in rows.select_related("part"):
            found[delivery.part_id, delivery.lot] = delivery
    return found


def in_pieces(values: Iterable) -> Iterator[list]:
    """`values` in pieces of as many as one query asks for."""
    rest = iter(values)
    while piece := list(islice(rest, AT_ONCE)):
        yield piece
