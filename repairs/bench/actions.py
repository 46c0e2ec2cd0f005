"""What the bench does to a job: diagnose, repair, test, close.

Each action is judged by the state that the database has now, and either all of it
happens or nothing. What overwrites is asked for the version that its reader saw; what
only adds is not.
"""

from collections.abc import Callable, Collection, Sequence
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from repairs.faults.models import Fault, Fix
from repairs.jobs import closing, states, workflow
from repairs.jobs.actions import set_quantity_used
from repairs.jobs.models import AccessCode, Job, Labour, Reading, Repair
from repairs.jobs.workflow import locked_for_change
from repairs.stock.models import Part
from shopdesk.errors import IncompleteError, InvalidTransitionError, RefusedError
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


def _require_state(job: Job, allowed: Collection[str], refused: str) -> None:
    """Lock the job, and refuse where its state of now is not one of `allowed`."""
    now = Job.objects.select_for_update().only("state").get(pk=job.pk)
    _refuse_unless(now, allowed, refused)


def _require_work(job: Job, refused: str, *, repair: Repair | None = None) -> None:
    """Lock the job, and refuse where `repair`, or any, may not be worked on now."""
    now = Job.objects.select_for_update().get(pk=job.pk)
    if not now.may_work_on(repair):
        raise InvalidTransitionError(f"The job is {now.get_state_display()}: {refused}")


def _refuse_unless(job: Job, allowed: Collection[str], refused: str) -> None:
    """The same of a job that is locked and read already."""
    if job.state not in allowed:
        raise InvalidTransitionError(f"The job is {job.get_state_display()}: {refused}")


def apply_transition(
    job: Job, verb: Callable, *, version, stamp: Stamp, **facts: Any
) -> None:
    """One verb of the workflow, done to the job as its reader saw it."""
    with locked_for_change(job, version=version, stamp=stamp):
        verb(job, stamp=stamp, **facts)


# --- diagnosis ----------------------------------------------------------------


def save_details(
    job: Job,
    *,
    waiting_for: str,
    waiting_note: str = "",
    version,
    stamp: Stamp,
    **facts: Any,
) -> None:
    """What the job waits for, when it is due, and the device as the bench finds it.

    Without the customer's consent a stored access code is deleted.
    """
    with locked_for_change(job, version=version, stamp=stamp):
        _refuse_unless(job, states.OPEN, "it can no longer be changed.")
        job.set_waiting(waiting_for, note=waiting_note, on=stamp.on)
        for name, value in facts.items():
            setattr(job, name, value)
        job.save(update_fields=[*Job.WAITING_FIELDS, *facts])
        if job.data_access == Job.DataAccess.NO:
            AccessCode.objects.filter(job=job).delete()


@transaction.atomic
def set_battery_disconnected(job: Job, *, disconnected: bool, stamp: Stamp) -> None:
    """The battery was disconnected before work on the board, or connected again."""
    _require_work(job, "this can no longer be changed.")
    job.refresh_from_db()
    job.battery_disconnected_at = stamp.at if disconnected else None
    job.battery_disconnected_by = stamp.by if disconnected else None
    job.save(update_fields=["battery_disconnected_at", "battery_disconnected_by"])


def save_findings(
    job: Job,
    *,
    failed: int | None,
    tries: int | None,
    symptoms,
    notes: str,
    soak_failures: int | None = None,
    soak_hours: Decimal | None = None,
    version,
    stamp: Stamp,
) -> None:
    """What the bench saw when it tried to reproduce the complaint."""
    with locked_for_change(job, version=version, stamp=stamp):
        _refuse_unless(
            job, states.BEFORE_REPAIRED, "findings can no longer be changed."
        )
        job.verified_failures, job.verified_tries = failed, tries
        job.bench_notes = notes
        job.soak_failures, job.soak_hours = soak_failures, soak_hours
        names = ["verified_failures", "verified_tries", "bench_notes"]
        job.save(update_fields=[*names, "soak_failures", "soak_hours"])
        job.symptoms.set(symptoms)


@transaction.atomic
def add_fault(job: Job, *, fault: Fault, stamp: Stamp) -> Repair:
    """One more fault was found on this job."""
    _require_state(
        job,
        states.IN_DIAGNOSIS,
        "send it back to diagnosis first, since the customer has not agreed to it.",
    )
    if job.repairs.filter(fault=fault).exists():
        raise RefusedError(f"{fault.code} is already on this job.")
    return job.repairs.create(fault=fault, by=stamp.by)


@transaction.atomic
def create_fault(
    job: Job, *, code: str, name: str, hazard: str, stamp: Stamp
) -> Repair:
    """A fault that the fault book lacks: added to it, and to this job."""
    fault = _add_to_fault_book(Fault, code=code, name=name, hazard=hazard)
    return add_fault(job, fault=fault, stamp=stamp)


def _add_to_fault_book(model, *, code: str, **facts):
    try:
        with transaction.atomic():
            return model.objects.create(code=code, **facts)
    except IntegrityError:
        raise RefusedError(
            f"{code} was just added to the fault book. Select it."
        ) from None


@transaction.atomic
def remove_fault(repair: Repair, *, stamp: Stamp) -> None:
    """It was added by mistake, and nothing was done for it yet."""
    job = repair.job
    _require_state(job, states.IN_DIAGNOSIS, "faults can no longer be removed.")
    if repair.parts_used.exists() or repair.labour.exists():
        raise RefusedError(
            f"{repair.fault.code}: parts or time are booked on it. Remove"
            " them first or enter an outcome."
        )
    if job.state != states.BOOKED_IN and job.repairs.count() == 1:
        raise RefusedError("Add the right fault first, then remove this one.")
    try:
        repair.delete()
    except ProtectedError:
        raise RefusedError(
            f"{repair.fault.code} is part of a quote or a return. Keep it and"
            " enter an outcome."
        ) from None


def select_fix(repair: Repair, *, fix: Fix, version, stamp: Stamp) -> None:
    """The fix for the fault; the fault book remembers that they go together."""
    with locked_for_change(repair.job, version=version, stamp=stamp):
        job, allowed = repair.job, states.BEFORE_REPAIRED
        if not (job.state == states.QUOTED and job.may_work_on(repair)):
            _refuse_unless(job, allowed, "its fix can no longer be changed.")
        repair.fix, repair.by = fix, stamp.by
        repair.save(update_fields=["fix", "by"])
        fix.faults.add(repair.fault)


@transaction.atomic
def create_fix(repair: Repair, *, version, stamp: Stamp, **facts: Any) -> None:
    """A fix that the fault book lacks: added to it, and selected."""
    fix = _add_to_fault_book(Fix, **facts)
    select_fix(repair, fix=fix, version=version, stamp=stamp)


def mark_not_repaired(
    repair: Repair, *, outcome: str, why: str, version, stamp: Stamp
) -> None:
    """This fault is not repaired on this job; the others may be."""
    if outcome not in states.NOT_REPAIRED:
        raise IncompleteError("Say enter an outcome.")
    with locked_for_change(repair.job, version=version, stamp=stamp):
        _refuse_unless(
            repair.job, states.AT_THE_BENCH, "the outcome can no longer be changed."
        )
        repair.outcome = outcome
        repair.note = f"{repair.note}\n{why}".strip()
        repair.save(update_fields=["outcome", "note"])


@transaction.atomic
def resume_repair(repair: Repair, *, stamp: Stamp) -> None:
    """It was marked as not repaired, and is to be fixed after all."""
    _require_state(
        repair.job, states.BEFORE_REPAIRED, "the outcome can no longer be changed."
    )
    repair.outcome = ""
    repair.save(update_fields=["outcome"])


def complete_repair(
    job: Job, *, used: Sequence[tuple[Repair, Part, int]], version, stamp: Stamp
) -> None:
    """Make stock agree with the parts that were used, release what is still reserved of
    them, and mark the job as repaired; or do nothing of it. `used` are a repair, a part
    of it, and how many it took."""
    with locked_for_change(job, version=version, stamp=stamp):
        for repair, part, quantity in used:
            set_quantity_used(repair, part=part, quantity=quantity, stamp=stamp)
        job.reservations.filter(part__in=[part for _, part, _ in used]).delete()
        workflow.mark_repaired(job, stamp=stamp)


# --- measurements and labour ----------------------------------------------------


@transaction.atomic
def add_reading(job: Job, *, stamp: Stamp, **facts: Any) -> Reading:
    _require_work(job, "no measurements can be added now.")
    return job.readings.create(read_at=stamp.at, by=stamp.by, **facts)


@transaction.atomic
def remove_reading(reading: Reading, *, stamp: Stamp) -> None:
    _require_work(reading.job, "measurements can no longer be removed.")
    reading.delete()


def running_timer(user) -> Labour | None:
    return Labour.objects.running().filter(by=user).select_related("job").first()


@transaction.atomic
def start_timer(
    job: Job, *, repair: Repair | None, stamp: Stamp, instead: bool = False
) -> Labour:
    """One person works on one thing at a time; `instead` stops the other timer."""
    _require_work(job, "no time can be booked now.", repair=repair)
    running = running_timer(stamp.by)
    if running is not None:
        if running.job_id == job.pk:
            raise RefusedError("Your timer is already running on this job.")
        if not instead:
            raise RefusedError(
                f"Your timer is running on job {running.job.number}. Stop it first."
            )
        running.stop(at=stamp.at)
    try:
        with transaction.atomic():
            return job.labour.create(repair=repair, by=stamp.by, started_at=stamp.at)
    except IntegrityError:
        raise RefusedError("Your timer was just started on another page.") from None


@transaction.atomic
def stop_timer(labour: Labour, *, stamp: Stamp) -> None:
    labour = Labour.objects.select_for_update().get(pk=labour.pk)
    if not labour.is_running:
        raise RefusedError("This timer was already stopped.")
    if labour.by_id != stamp.by.pk and stamp.by.role != "owner":
        raise RefusedError(f"This is {labour.by}’s timer.")
    labour.stop(at=stamp.at)


@transaction.atomic
def add_labour(
    job: Job,
    *,
    repair: Repair | None,
    minutes: int,
    is_billable: bool,
    note: str,
    stamp: Stamp,
) -> Labour:
    _require_work(job, "no time can be booked now.", repair=repair)
    return job.labour.create(
        repair=repair,
        minutes=minutes,
        is_billable=is_billable,
        note=note,
        by=stamp.by,
        booked_at=stamp.at,
    )


@transaction.atomic
def remove_labour(labour: Labour, *, stamp: Stamp) -> None:
    """Booked by mistake, or a timer that ran through the night."""
    _require_work(labour.job, "time can no longer be removed.")
    labour.delete()


# --- final test and closing -------------------------------------------------------


@transaction.atomic
def record_final_test(
    repair: Repair,
    *,
    tries: int,
    failed: int,
    note: str = "",
    reproduces: bool = False,
    hours: Decimal | None = None,
    counted: bool = False,
    shop: Shop,
    stamp: Stamp,
) -> None:
    """Tries after the repair, or hours of a soak test. A failure sends the job back to
    repair; enough passes for every fault complete the final test. Tries `counted` one
    by one are one test."""
    job = repair.job
    _require_state(job, {states.REPAIRED}, "no test can be recorded now.")
    if repair.is_not_repaired:
        raise RefusedError(
            f"{repair.fault.code} is marked as not repaired; no test is needed."
        )
    last = repair.valid_tests[-1:]
    if counted and last and last[0].by_id == stamp.by.pk and last[0].hours is None:
        last[0].tries += tries
        last[0].save(update_fields=["tries"])
    else:
        _add_test(
            repair,
            tries=tries,
            failed=failed,
            note=note,
            hours=hours,
            reproduces=reproduces,
            shop=shop,
            stamp=stamp,
        )
    if failed:
        seen = (
            f"{failed} of {tries} tries" if hours is None else f"in {hours:.4g} hours"
        )
        why = f"{repair.fault.code} failed {seen} in the final test"
        workflow.fail_final_test(job, stamp=stamp, why=why)
    elif not closing.untested(job):
        workflow.complete_final_test(job, stamp=stamp)


def _add_test(repair: Repair, *, hours, reproduces, shop, stamp, **facts) -> None:
    needed_hours = repair.hours_needed(shop) if hours is not None else None
    if hours is not None and needed_hours is None:
        raise RefusedError(
            "Record first how often the fault showed in how many hours, in the"
            " findings: soak test."
        )
    repair.final_tests.create(
        hours=hours,
        needed_hours=needed_hours,
        needed=repair.passes_needed(shop, reproduces=reproduces),
        reproduces=reproduces,
        by=stamp.by,
        run_at=stamp.at,
        **facts,
    )


def set_tries_required(
    repair: Repair, *, tries: int, why: str, version, stamp: Stamp
) -> None:
    """The owner sets how many passes the final test takes; enough complete it."""
    with locked_for_change(repair.job, version=version, stamp=stamp):
        _refuse_unless(repair.job, states.AT_THE_BENCH, "this can no longer be set.")
        repair.tries_required, repair.tries_required_why = tries, why
        repair.save(update_fields=["tries_required", "tries_required_why"])
        for test in repair.valid_tests[-1:]:
            test.needed = tries
            test.save(update_fields=["needed"])
        is_tested = repair.job.state == states.REPAIRED
        if is_tested and not closing.untested(repair.job):
            workflow.complete_final_test(repair.job, stamp=stamp)


def close_fixed(
    job: Job,
    *,
    repairs: dict[Repair, dict],
    why: str,
    old_parts: str = "",
    version,
    stamp: Stamp,
) -> None:
    """Record the outcome of each repair and close the job, or do neither."""
    with locked_for_change(job, version=version, stamp=stamp):
        _refuse_unless(job, {states.TESTED}, "complete the final test before closing.")
        for repair, facts in repairs.items():
            for name, value in facts.items():
                setattr(repair, name, value)
            # The database wants fix and type of what is fixed: said better here.
            if repair.outcome == states.FIXED and not (repair.fix and repair.fix_type):
                raise IncompleteError(" ".join(closing.missing_of(repair)))
            repair.save(update_fields=list(facts))
        job.old_parts = old_parts
        job.save(update_fields=["old_parts"])
        is_fixed = job.repairs.filter(outcome=states.FIXED).exists()
        outcome = states.FIXED if is_fixed else states.NOT_FIXED
        workflow.close(job, outcome=outcome, stamp=stamp, why=why)
