"""Records as rows of a history file, and how rows differ from them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from itertools import islice

from django.db.models import Model, Prefetch, QuerySet

from repairs.customers.models import Customer, Device
from repairs.history.cells import CheckAndResult, ImportedPart
from repairs.history.matching import Serial, Visit
from repairs.history.rows import COLUMNS, ImportRow
from repairs.jobs import states
from repairs.jobs.models import (
    CheckResult,
    Job,
    PartUsed,
    Repair,
    ReturnAssessment,
    UncodedRepair,
)
from repairs.stock.models import Delivery
from shopdesk.lookup import normalize_search

BATCH = 400
"""Values in one query: SQLite allows 1000 variables."""

# --- reading records ------------------------------------------------------------------


def batches(rows: QuerySet, field: str, values: Iterable) -> Iterator[Model]:
    """Yield the rows whose `field` is one of `values`, one query per batch."""
    rest = iter(dict.fromkeys(values))
    while batch := list(islice(rest, BATCH)):
        yield from rows.filter(**{f"{field}__in": batch})


def load_jobs(numbers: Iterable[str]) -> Iterator[Job]:
    """Yield the jobs with these numbers, with all that a row contains."""
    parts = PartUsed.objects.select_related("part", "delivery").order_by("id")
    repairs = Repair.objects.select_related("fault", "fix").order_by("id")
    decisions = ReturnAssessment.objects.select_related("earlier__job").order_by("id")
    jobs = Job.objects.select_related("customer", "device__model").prefetch_related(
        Prefetch("repairs", repairs),
        Prefetch("repairs__parts_used", parts),
        Prefetch("decisions", decisions),
        Prefetch("check_results", CheckResult.objects.select_related("check_made")),
        "symptoms",
        "labour",
        Prefetch("uncoded_repairs", UncodedRepair.objects.order_by("id")),
    )
    return batches(jobs, "number", numbers)


def load_devices(serials: Iterable[Serial]) -> dict[Serial, Device]:
    """Return the devices with one of these makers and serial numbers."""
    serials = set(serials)
    devices = batches(
        Device.objects.select_related("model"),
        "serial_normalized",
        (number for _, number in serials),
    )
    by_serial = {(d.maker_key, d.serial_normalized): d for d in devices}
    return {serial: by_serial[serial] for serial in serials & by_serial.keys()}


def load_devices_without_serial(owners: Iterable[int]) -> dict[tuple, Device]:
    """Return the oldest device of each owner and model, of these customers."""
    bare = Device.objects.filter(serial_normalized="").order_by("-id")
    return {
        (device.owner_id, model_key(device.model)): device
        for device in batches(bare.select_related("model"), "owner", owners)
    }


def load_deliveries(parts: Iterable[int]) -> dict[tuple[int, str], Delivery]:
    """Return the first delivery of each lot of these parts."""
    rows = Delivery.objects.select_related("part").order_by("-id")
    return {(d.part_id, d.lot): d for d in batches(rows, "part", parts)}


def model_key(model) -> tuple[str, str, str]:
    """Return a device model, or that of a row, in the form used for comparison."""
    return _model_key(model.kind, model.maker, model.model)


@lru_cache
def _model_key(kind: str, maker: str, model: str) -> tuple[str, str, str]:
    return normalize_search(kind), normalize_search(maker), normalize_search(model)


def visit_of(job: Job) -> Visit:
    """Return a job on record, reduced to its device and its return."""
    device = job.device
    serial = (device.maker_key, device.serial_normalized)
    return Visit(
        row=rows_of(job)[0],
        owner=None,
        model=model_key(device.model),
        serial=serial if device.serial_normalized else None,
        device=device.pk,
    )


# --- as rows --------------------------------------------------------------------------


def rows_of(job: Job) -> list[ImportRow]:
    """Return the rows that a history file would have for this job."""
    facts = _job_facts(job)
    repairs = list(job.repairs.all())
    uncoded = [
        ImportRow(
            **facts,
            outcome=one.outcome,
            minutes=one.minutes,
            charged=one.charged,
            parts_cost=one.parts_cost,
            is_uncoded=True,
        )
        for one in job.uncoded_repairs.all()
    ]
    if uncoded and not repairs:
        return uncoded
    if not repairs:
        minutes = sum(w.minutes for w in job.labour.all() if w.repair_id is None)
        outcome = job.outcome if job.outcome in states.OUTCOMES else ""
        return [
            ImportRow(
                **facts,
                outcome=outcome,
                minutes=minutes,
                charged=job.agreed_diagnosis_fee,
            )
        ]
    minutes_of: dict[int, int] = defaultdict(int)
    for work in job.labour.all():
        minutes_of[work.repair_id or repairs[0].pk] += work.minutes
    return uncoded + [
        ImportRow(**facts, **_repair_facts(repair, minutes=minutes_of[repair.pk]))
        for repair in repairs
    ]


def _job_facts(job: Job) -> dict:
    facts = {
        "line": 0,
        "job": job.number,
        "booked_in": job.booked_in_on,
        "handed_back": job.handed_over_on,
        "complaint": job.complaint,
        "symptoms": tuple(symptom.name for symptom in job.symptoms.all()),
        "checks": tuple(
            CheckAndResult(one.check_made.name, one.result)
            for one in job.check_results.all()
        ),
        **record_texts(job.customer, job.device),
    }
    for decision in job.decisions.all():
        facts["returned_from"] = decision.earlier.job.number
        facts["return_is"] = (
            "" if decision.assessment == states.UNDECIDED else decision.assessment
        )
    return facts | read_lines(job.imported_text)


def record_texts(customer: Customer, device: Device) -> dict[str, str]:
    """Return the names of the customer and the device of a job on record."""
    return {
        "customer": customer.name,
        "email": customer.email,
        "phone": customer.phone,
        "kind": device.model.kind,
        "maker": device.model.maker,
        "model": device.model.model,
        "serial": device.serial,
    }


def _repair_facts(repair: Repair, *, minutes: int) -> dict:
    parts = tuple(
        ImportedPart(
            used.part.number,
            used.quantity,
            used.cost,
            used.delivery.lot if used.delivery else "",
        )
        for used in repair.parts_used.all()
    )
    cost = sum((part.cost * part.quantity for part in parts), Decimal(0))
    facts = {
        "fault": repair.fault.code,
        "fault_name": repair.fault.name,
        "fix": repair.fix.code if repair.fix else "",
        "fix_name": repair.fix.name if repair.fix else "",
        "declared": repair.fix_type,
        "outcome": repair.outcome,
        "minutes": minutes + repair.minutes_from_history,
        "charged": repair.charged,
        "parts_cost": cost + repair.parts_cost_from_history,
        "parts": parts,
    }
    return facts | read_lines(repair.imported_text)


# --- differences ----------------------------------------------------------------------


def unmatched(row: ImportRow, record: Mapping[str, str]) -> dict[str, str]:
    """Return the values of the row, by column, that differ from the record."""
    texts = {column: str(getattr(row, column)) for column in record}
    return {c: text for c, text in texts.items() if text not in ("", record[c])}


def write_lines(texts: Mapping[str, str]) -> str:
    """Return the texts as stored: one line a column. None of them has line breaks."""
    return "\n".join(f"{column}: {text}" for column, text in texts.items())


def read_lines(stored: str) -> dict[str, str]:
    """Return the texts that `write_lines` stored."""
    pairs = (line.partition(": ") for line in stored.split("\n") if line)
    return {column: text for column, _, text in pairs}


def job_differences(
    rows: Sequence[ImportRow], existing: Sequence[ImportRow]
) -> Iterator[tuple[ImportRow, str, str]]:
    """Yield how the rows of a job differ from the record: row, column and text.

    Rows of both are matched in the order with the fewest differences.
    """
    left = list(existing)
    for row in rows:
        if not left:
            yield row, "", "the file has one repair more"
            continue
        differences = [_differences(row, other) for other in left]
        nearest = min(range(len(left)), key=lambda n: len(differences[n]))
        left.pop(nearest)
        for column, text in differences[nearest].items():
            yield row, column, text
    if left:
        yield rows[0], "", "the file has one repair less"


def _differences(row: ImportRow, other: ImportRow) -> dict[str, str]:
    """Return the columns that differ, each with both texts."""
    differences = {}
    for name, column in COLUMNS.items():
        # Names belong to the fault book and may have been changed since.
        if name in ("job", "fault_name", "fix_name"):
            continue
        here, there = getattr(row, name), getattr(other, name)
        if here == there or (column.is_optional and not here):
            continue
        if name == "parts" and _are_same_parts(here, there):
            continue
        if name in ("symptoms", "checks") and _folded(here) == _folded(there):
            continue
        differences[name] = f"“{_text(here)}” in the file, “{_text(there)}” on record"
    return differences


def _are_same_parts(
    parts: Sequence[ImportedPart], existing: Sequence[ImportedPart]
) -> bool:
    """Compare parts in any order; a part without a cost matches any cost."""
    left = list(existing)
    for part in parts:
        same = (other for other in left if part in (other, replace(other, cost=None)))
        if (other := next(same, None)) is None:
            return False
        left.remove(other)
    return not left


def _folded(values: Sequence[object]) -> set[str]:
    return {normalize_search(str(value)) for value in values}


def _text(value: object) -> str:
    if isinstance(value, tuple):
        return ";".join(map(str, value))
    if isinstance(value, Decimal) and value == round(value, 2):
        return f"{value:.2f}"
    return "" if value is None else str(value)
