"""What the bench does to a job: find, mend, prove, close.

Each verb is judged by the state that the database has now, and either all of it happens
or nothing. What overwrites is asked for the version that its reader saw; what only adds
is not.
"""

from collections.abc import Collection
from datetime import date, datetime

from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Job, Labour, NotYet, Reading, Repair

MENDING = states.FINDING | {states.APPROVED}


def _only_while(job: Job, allowed: Collection[str], refused: str) -> None:
    """Lock the job, and refuse where its state of now is not one of `allowed`."""
    now = Job.objects.select_for_update().only("state").get(pk=job.pk)
    if now.state not in allowed:
        raise NotYet(f"The job is {now.get_state_display()}: {refused}")


# --- finding ------------------------------------------------------------------


def save_head(job: Job, *, waiting_for: str, due_on: date | None, version, by):
    """What the job waits on, and for when it is promised."""
    with job.changing(version=version, by=by):
        _only_while(job, states.OPEN, "nothing is promised any more.")
        job.waiting_for, job.due_on = waiting_for, due_on
        job.save(update_fields=["waiting_for", "due_on"])


def save_findings(job: Job, *, failed, tries, symptoms, notes: str, version, by):
    """What the bench saw when it tried the complaint."""
    with job.changing(version=version, by=by):
        _only_while(job, MENDING, "what was found stays as it is.")
        job.verified_failures, job.verified_tries = failed, tries
        job.bench_notes = notes
        job.save(update_fields=["verified_failures", "verified_tries", "bench_notes"])
        job.symptoms.set(symptoms)


@transaction.atomic
def name_fault(job: Job, *, fault: Fault, by) -> Repair:
    """One more fault was found on this job."""
    _only_while(
        job,
        states.FINDING,
        "a fault found now goes back to the desk first, since nobody agreed to it.",
    )
    if job.repairs.filter(fault=fault).exists():
        raise NotYet(f"{fault.code} is named on this job already.")
    return job.repairs.create(fault=fault, by=by)


def _into_the_book(model, *, code: str, **facts):
    try:
        with transaction.atomic():
            return model.objects.create(code=code, **facts)
    except IntegrityError:
        raise NotYet(f"{code} was written into the book just now: name it.") from None


@transaction.atomic
def add_fault(job: Job, *, code: str, name: str, hazard: str, by) -> Repair:
    """A fault that the book lacks: written into it, and named on this job."""
    fault = _into_the_book(Fault, code=code, name=name, hazard=hazard)
    return name_fault(job, fault=fault, by=by)


@transaction.atomic
def drop_fault(repair: Repair, *, by) -> None:
    """It was named by mistake, and nothing was done for it yet."""
    job = repair.job
    _only_while(job, states.FINDING, "its faults stay as they are.")
    if repair.parts_used.exists() or repair.labour.exists():
        raise NotYet(
            f"{repair.fault.code}: parts or minutes are booked on it. Take those off"
            " first, or say what came of it."
        )
    if job.state != states.BOOKED_IN and job.repairs.count() == 1:
        raise NotYet("Name the right fault first, then take this one off.")
    try:
        repair.delete()
    except ProtectedError:
        raise NotYet(
            f"{repair.fault.code} stands in a quote or a return: it stays, say"
            " what came of it."
        ) from None


def choose_fix(repair: Repair, *, fix: Fix, version, by) -> None:
    """The fix that puts it right; the fault book remembers that they go together."""
    with repair.job.changing(version=version, by=by):
        _only_while(repair.job, MENDING, "its fix stays as it is.")
        repair.fix, repair.by = fix, by
        repair.save(update_fields=["fix", "by"])
        fix.faults.add(repair.fault)


def add_fix(repair: Repair, *, version, by, **facts) -> None:
    """A fix that the book lacks: written into it, and chosen."""
    with transaction.atomic():
        fix = _into_the_book(Fix, **facts)
        choose_fix(repair, fix=fix, version=version, by=by)


def give_up(repair: Repair, *, outcome: str, why: str, version, by) -> None:
    """This fault is not put right on this job; the others may be."""
    if outcome not in states.GIVEN_UP:
        raise NotYet("Say what came of it.")
    with repair.job.changing(version=version, by=by):
        _only_while(repair.job, states.AT_THE_BENCH, "what came of it stays.")
        repair.outcome = outcome
        repair.note = f"{repair.note}\n{why}".strip()
        repair.save(update_fields=["outcome", "note"])


@transaction.atomic
def take_up_again(repair: Repair, *, by) -> None:
    """It was given up, and is to be fixed after all."""
    _only_while(repair.job, MENDING, "what came of it stays.")
    repair.outcome = ""
    repair.save(update_fields=["outcome"])


# --- readings and minutes -----------------------------------------------------


@transaction.atomic
def take_reading(job: Job, *, at: datetime, by, **facts) -> Reading:
    _only_while(job, states.AT_THE_BENCH, "no reading is added now.")
    return job.readings.create(read_at=at, by=by, **facts)


@transaction.atomic
def drop_reading(reading: Reading) -> None:
    _only_while(reading.job, states.AT_THE_BENCH, "its readings stay.")
    reading.delete()


def running_timer(by) -> Labour | None:
    return Labour.objects.running().filter(by=by).select_related("job").first()


@transaction.atomic
def start_timer(
    job: Job, *, repair: Repair | None, at: datetime, by, instead: bool = False
) -> Labour:
    """One person works on one thing at a time; `instead` stops the other timer."""
    _only_while(job, states.AT_THE_BENCH, "no minutes are booked on it now.")
    running = running_timer(by)
    if running is not None and running.job_id == job.pk:
        raise NotYet("Your timer runs on this job already.")
    if running is not None and not instead:
        raise NotYet(f"Your timer runs on job {running.job.number}: stop it first.")
    if running is not None:
        running.stop(at=at)
    try:
        with transaction.atomic():
            return job.labour.create(repair=repair, by=by, started_at=at)
    except IntegrityError:
        raise NotYet("Your timer was started elsewhere just now.") from None


@transaction.atomic
def stop_timer(labour: Labour, *, at: datetime, by) -> None:
    labour = Labour.objects.select_for_update().get(pk=labour.pk)
    if not labour.is_running:
        raise NotYet("That timer was stopped already.")
    if labour.by_id != by.pk and by.kind != "owner":
        raise NotYet(f"That is {labour.by}’s timer.")
    labour.stop(at=at)


@transaction.atomic
def book_minutes(
    job: Job, *, repair: Repair | None, minutes: int, is_billable: bool, note, by
) -> Labour:
    _only_while(job, states.AT_THE_BENCH, "no minutes are booked on it now.")
    return job.labour.create(
        repair=repair, minutes=minutes, is_billable=is_billable, note=note, by=by
    )


@transaction.atomic
def drop_minutes(labour: Labour) -> None:
    """Booked by mistake, or a timer that ran through the night."""
    _only_while(labour.job, states.AT_THE_BENCH, "its minutes stay.")
    labour.delete()


# --- proving and closing ------------------------------------------------------


@transaction.atomic
def run_proof(
    repair: Repair, *, tries: int, failed: int, note: str, at: datetime, by
) -> None:
    """Tries after the repair. One failure sends the job back to the bench; enough clean
    tries for every fault prove it."""
    job = repair.job
    _only_while(job, {states.REPAIRED}, "no proof run is written down now.")
    if repair.outcome in states.GIVEN_UP:
        raise NotYet(f"{repair.fault.code} was given up: there is nothing to prove.")
    repair.final_tests.create(
        tries=tries,
        failed=failed,
        needed=repair.tries_needed,
        note=note,
        by=by,
        run_at=at,
    )
    if failed:
        why = f"{repair.fault.code} failed {failed} of {tries} tries of the proof run"
        job.proof_failed(by=by, why=why)
    elif all(other.is_tested for other in job.repairs.going_on()):
        job.prove(by=by)


def close_fixed(job: Job, *, repairs: dict[Repair, dict], why: str, version, by):
    """Write down what came of each repair and close the job, or do neither."""
    with job.changing(version=version, by=by):
        _only_while(job, {states.TESTED}, "it can’t be closed as fixed now.")
        for repair, facts in repairs.items():
            for name, value in facts.items():
                setattr(repair, name, value)
            # The database wants fix and kind of what is fixed: said better here.
            if repair.outcome == states.FIXED and not (repair.fix and repair.declared):
                raise NotYet(" ".join(repair.missing_to_close()))
            repair.save(update_fields=list(facts))
        fixed = any(r.outcome == states.FIXED for r in job.repairs.all())
        job.close(outcome=states.FIXED if fixed else states.NOT_FIXED, by=by, why=why)


def step(job: Job, verb: str, *, version, **facts) -> None:
    """One of the job's own verbs, as its reader saw the job."""
    with job.changing(version=version, by=facts["by"]):
        getattr(job, verb)(**facts)
