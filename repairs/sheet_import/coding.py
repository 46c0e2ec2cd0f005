"""Say later which fault and fix the repairs of an imported list were."""

from collections.abc import Collection
from decimal import Decimal

from django.db import transaction
from django.db.models import QuerySet

from repairs.diagnosis import learning
from repairs.faults.models import Fault, Fix
from repairs.history.actions import MAX_NOTES, original_texts, set_cost_and_warranty
from repairs.history.existing import read_lines, write_lines
from repairs.history.linked_records import IMPORT_NOTE
from repairs.jobs import states, warranty, workflow
from repairs.jobs.models import (
    Comeback,
    Job,
    Labour,
    Repair,
    ReturnAssessment,
    UncodedRepair,
)
from shopdesk.errors import IncompleteError
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

RETURN_LINES = ("returned_from", "return_is")
"""Lines of `Job.imported_text` that say what could not be linked yet."""


@transaction.atomic
def code_repairs(
    chosen: Collection[int],
    *,
    fault: Fault | None,
    fix: Fix | None,
    fix_type: str,
    outcome: str,
    stamp: Stamp,
    shop: Shop,
) -> int:
    """Make repairs of those not coded yet that are chosen; return how many.

    Those coded by somebody else meanwhile are passed over. Without a fault, which only
    jobs without a repair may lack, what was charged becomes the diagnosis fee. Raises
    IncompleteError if a repair that was fixed lacks its fault, fix or type.
    """
    if outcome == states.FIXED and not (fault and fix and fix_type):
        raise IncompleteError("Enter the fault, and the fix with its type.")
    if fix and not fault:
        raise IncompleteError("Enter the fault that the fix belongs to.")
    if outcome == states.DECLINED_BY_CUSTOMER and fix:
        raise IncompleteError("A job that was declined has no fix.")
    rows = UncodedRepair.objects.filter(pk__in=chosen).order_by("job_id", "pk")
    found = list(rows.select_for_update(of=("self",)).select_related("job"))
    if not found:
        raise IncompleteError("Choose at least one repair.")
    for uncoded in found:
        with workflow.locked_for_change(uncoded.job, version=None, stamp=stamp):
            if fault is None:
                _close_without_repair(uncoded)
            else:
                _code(uncoded, fault, fix, fix_type if fix else "", outcome, shop)
            _finish(uncoded, outcome)
    if fix is not None:
        fix.faults.add(fault)
    return len(found)


def _code(
    uncoded: UncodedRepair,
    fault: Fault,
    fix: Fix | None,
    fix_type: str,
    outcome: str,
    shop: Shop,
) -> None:
    job = uncoded.job
    repair = Repair(
        job=job,
        fault=fault,
        fix=fix,
        fix_type=fix_type,
        outcome="" if outcome == states.DECLINED_BY_CUSTOMER else outcome,
        note=original_texts(uncoded.fault_text, uncoded.fix_text),
        no_part_needed=fix is not None,
        minutes_from_history=uncoded.minutes,
        parts_cost_from_history=uncoded.parts_cost,
        charged=uncoded.charged,
        handed_over_on=job.handed_over_on,
    )
    set_cost_and_warranty(
        repair,
        parts=[(uncoded.parts_cost or Decimal(0), 1)],
        covered_by=None,
        shop=shop,
    )
    repair.save()


def _close_without_repair(uncoded: UncodedRepair) -> None:
    """Keep on the job what is known of it, as an import does where nothing was done."""
    job = uncoded.job
    if uncoded.charged is not None:
        job.agreed_diagnosis_fee = (job.agreed_diagnosis_fee or 0) + uncoded.charged
    if uncoded.minutes:
        Labour.objects.create(job=job, minutes=uncoded.minutes, note=IMPORT_NOTE)
    texts = [job.bench_notes, original_texts(uncoded.fault_text, uncoded.fix_text)]
    if uncoded.parts_cost:
        texts.append(f"Parts cost: {uncoded.parts_cost.normalize():f}")
    job.bench_notes = "\n".join(filter(None, texts))[:MAX_NOTES]
    job.save(update_fields=["agreed_diagnosis_fee", "bench_notes"])


def _finish(uncoded: UncodedRepair, outcome: str) -> None:
    """Set the outcome of the job, learn from it, and link its returns."""
    job = uncoded.job
    uncoded.delete()
    outcomes = {outcome, *job.repairs.values_list("outcome", flat=True)}
    found = [one for one in states.OUTCOMES if one in outcomes]
    if not found and job.uncoded_repairs.exists():
        return
    job.outcome = found[0] if found else states.DECLINED_BY_CUSTOMER
    job.save(update_fields=["outcome"])
    learning.after_closing(job)
    _settle_return(job)
    waiting = Job.objects.filter(
        device=job.device_id, imported_text__contains=f"returned_from: {job.number}"
    )
    for later in waiting.exclude(pk=job.pk):
        _settle_return(later)


def paid_but_declined() -> QuerySet[Job]:
    """Return past jobs that an earlier version recorded as declined, but were paid."""
    return Job.objects.filter(
        is_from_history=True,
        outcome=states.DECLINED_BY_CUSTOMER,
        agreed_diagnosis_fee__gt=0,
        repairs=None,
        past_import=None,
        changed_at=None,  # so that nobody is asked twice
    )


@transaction.atomic
def reconsider_declined(*, stamp: Stamp) -> int:
    """Let those jobs be coded; return how many."""
    found = list(paid_but_declined().order_by("pk"))
    for job in found:
        with workflow.locked_for_change(job, version=None, stamp=stamp):
            labour = job.labour.all()
            UncodedRepair.objects.create(
                job=job,
                charged=job.agreed_diagnosis_fee,
                minutes=sum(work.minutes for work in labour),
            )
            labour.delete()
            job.outcome, job.agreed_diagnosis_fee = states.NOT_CODED, None
            job.save(update_fields=["outcome", "agreed_diagnosis_fee"])
    return len(found)


def _settle_return(job: Job) -> None:
    """Link a return to its earlier job, now that faults are known."""
    texts = read_lines(job.imported_text)
    decisions = list(job.decisions.select_related("earlier__job"))
    if decisions and decisions[-1].assessment != states.UNDECIDED:
        return
    number = texts.get("returned_from", "")
    if decisions:
        number = decisions[-1].earlier.job.number
    earlier = list(Repair.objects.filter(job__number=number).order_by("pk"))
    if not number or not earlier:
        return
    faults = set(job.repairs.values_list("fault_id", flat=True))
    nearest = min(
        earlier,
        key=lambda one: (one.fault_id not in faults, one.outcome != states.FIXED),
    )
    is_same = nearest.fault_id in faults
    if decisions and not is_same:
        return
    ReturnAssessment.objects.create(
        job=job,
        earlier=nearest,
        assessment=states.SAME_FAULT if is_same else states.UNDECIDED,
        is_in_warranty=is_same
        and warranty.is_in_warranty(job.booked_in_on, until=nearest.warranty_until),
        assessed_on=job.booked_in_on,
    )
    left = {name: text for name, text in texts.items() if name not in RETURN_LINES}
    job.imported_text = write_lines(left)
    job.save(update_fields=["imported_text"])
    Comeback.objects.write(job)
