"""Say later which fault and fix the repairs of an imported list were."""

from collections.abc import Collection
from decimal import Decimal

from django.db import transaction

from repairs.diagnosis import learning
from repairs.faults.models import Fault, Fix
from repairs.history.actions import original_texts, set_cost_and_warranty
from repairs.history.existing import read_lines, write_lines
from repairs.jobs import states, warranty, workflow
from repairs.jobs.models import (
    Comeback,
    Job,
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
    fault: Fault,
    fix: Fix | None,
    fix_type: str,
    outcome: str,
    stamp: Stamp,
    shop: Shop,
) -> int:
    """Make repairs of those not coded yet that are chosen; return how many.

    Those coded by somebody else meanwhile are passed over. Raises IncompleteError if
    a repair that was fixed has no fix or no type.
    """
    if outcome == states.FIXED and not (fix and fix_type):
        raise IncompleteError("Enter the fix and its type, lasting or stopgap.")
    rows = UncodedRepair.objects.filter(pk__in=chosen).order_by("job_id", "pk")
    found = list(rows.select_for_update(of=("self",)).select_related("job"))
    if not found:
        raise IncompleteError("Choose at least one repair.")
    for uncoded in found:
        with workflow.locked_for_change(uncoded.job, version=None, stamp=stamp):
            _code(uncoded, fault, fix, fix_type if fix else "", outcome, shop)
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
        outcome=outcome,
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
    uncoded.delete()
    outcomes = set(job.repairs.values_list("outcome", flat=True))
    job.outcome = next(one for one in states.OUTCOMES if one in outcomes)
    job.save(update_fields=["outcome"])
    learning.after_closing(job)
    _settle_return(job)
    waiting = Job.objects.filter(
        device=job.device_id, imported_text__contains=f"returned_from: {job.number}"
    )
    for later in waiting.exclude(pk=job.pk):
        _settle_return(later)


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
