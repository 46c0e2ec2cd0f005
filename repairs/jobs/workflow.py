"""The workflow of a job: which state may follow which, and what each action requires.

No screen, form or command can make a transition that `ALLOWED_TRANSITIONS` lacks.
"""

from collections.abc import Callable, Collection
from contextlib import contextmanager

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from repairs.jobs import closing, states
from repairs.jobs.costs import repair_cost
from repairs.jobs.models import AccessCode, Comeback, Job
from repairs.jobs.states import (
    APPROVED,
    AT_THE_BENCH,
    BOOKED_IN,
    DECLINED,
    DECLINED_BY_CUSTOMER,
    DIAGNOSED,
    EXPECTED,
    FIXED,
    HANDED_OVER,
    QUOTED,
    READY,
    REPAIRED,
    TESTED,
)
from shopdesk.errors import (
    IncompleteError,
    InvalidTransitionError,
    RefusedError,
    StaleError,
)
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

ALLOWED_TRANSITIONS: dict[str, frozenset[str]] = {
    EXPECTED: frozenset({BOOKED_IN}),
    # Straight to ready: no fault found, or not repairable.
    BOOKED_IN: frozenset({DIAGNOSED, READY}),
    DIAGNOSED: frozenset({QUOTED, APPROVED, READY}),
    # Back to diagnosed: the quote is revised.
    QUOTED: frozenset({APPROVED, DECLINED, DIAGNOSED}),
    APPROVED: frozenset({REPAIRED, DIAGNOSED, READY}),
    DECLINED: frozenset({READY, DIAGNOSED}),
    # Back to approved: the final test failed.
    REPAIRED: frozenset({TESTED, APPROVED}),
    TESTED: frozenset({READY, APPROVED}),
    # Reopened: to approved where the customer's yes is still in force.
    READY: frozenset({HANDED_OVER, DIAGNOSED, APPROVED}),
    HANDED_OVER: frozenset(),
}

AFTER_CLOSING: list[Callable[[Job], None]] = []
"""Called in the transaction of each closing and reopening. Rooms above this one add
theirs in `repairs/apps.py`."""


def check_transition(
    old: str, new: str, *, only_from: Collection[str] | None = None
) -> None:
    """Raise InvalidTransitionError if a job in state `old` cannot become `new`.

    `only_from` limits the states further, for an action that starts from fewer of them.
    """
    if new not in ALLOWED_TRANSITIONS[old] or (
        only_from is not None and old not in only_from
    ):
        labels = states.LABELS
        raise InvalidTransitionError(
            f"A job that is {labels[old]} cannot become {labels[new]}."
        )


@contextmanager
def locked_for_change(job: Job, *, version: int | None, stamp: Stamp):
    """Lock the job in a transaction, if it is still as the sender saw it.

    Raises StaleError if it was changed since `version`; None skips this check.
    """
    with transaction.atomic():
        read = _locked(job)
        if version is not None:
            read = read.filter(version=version)
        if not read.update(**_changed(stamp)):
            job.refresh_from_db()
            when = timezone.localtime(job.changed_at).strftime(" at %H:%M")
            raise StaleError(
                f"{job.changed_by or 'Someone else'} changed this job{when}. Your"
                " entries are kept: check them and save again."
            )
        job.refresh_from_db()
        yield job


@transaction.atomic
def transition(
    job: Job,
    new: str,
    *,
    stamp: Stamp,
    why: str = "",
    only_from: Collection[str] | None = None,
    **changes,
) -> None:
    """Change the state, checked against the database's; nothing else writes `state`."""
    old = _locked(job).get().state
    check_transition(old, new, only_from=only_from)
    _locked(job).update(state=new, **_changed(stamp), **changes)
    job.transitions.create(
        from_state=old, to_state=new, by=stamp.by, why=why, made_at=stamp.at
    )
    job.refresh_from_db()


def _locked(job: Job):
    """Return a query for the job that locks its row."""
    return Job.objects.select_for_update().filter(pk=job.pk)


def _changed(stamp: Stamp) -> dict:
    return {
        "version": F("version") + 1,
        "changed_by": stamp.by,
        "changed_at": stamp.at,
    }


def _check_from(job: Job, *allowed: str, new: str) -> None:
    """Refuse the transition first, before anything else about the job is checked."""
    state = _locked(job).only("state").get().state
    check_transition(state, new, only_from=allowed)


# --- actions, in the order of the work --------------------------------------------


@transaction.atomic
def record_arrival(job: Job, *, stamp: Stamp) -> None:
    """The announced device is here."""
    transition(job, BOOKED_IN, stamp=stamp, booked_in_on=stamp.on)
    Comeback.objects.write(job)


@transaction.atomic
def diagnose(job: Job, *, stamp: Stamp) -> None:
    """The fault is found."""
    _check_from(job, BOOKED_IN, new=DIAGNOSED)
    if not job.repairs.exists():
        raise IncompleteError("Add a fault first.")
    transition(job, DIAGNOSED, stamp=stamp)


def quote(job: Job, *, stamp: Stamp) -> None:
    """A quote was sent to the customer."""
    transition(job, QUOTED, stamp=stamp)


@transaction.atomic
def approve(job: Job, *, stamp: Stamp, why: str = "") -> None:
    """The customer said yes, or it is a warranty repair."""
    _check_from(job, *states.BEFORE_YES, new=APPROVED)
    job.refresh_from_db(fields=["state"])
    if job.state == DIAGNOSED:
        _check_warranty(job)
    transition(job, APPROVED, stamp=stamp, why=why)


@transaction.atomic
def approve_warranty_repair(job: Job, *, stamp: Stamp) -> None:
    """The warranty is the approval: no quote, and no cost to the customer."""
    _check_from(job, DIAGNOSED, new=APPROVED)
    _check_warranty(job)
    transition(job, APPROVED, stamp=stamp, why="warranty repair")


def _check_warranty(job: Job) -> None:
    decision = job.decision
    if decision is not None and decision.assessment == states.UNDECIDED:
        raise RefusedError("Assess the return first.")
    if not job.is_warranty_repair:
        raise RefusedError(
            "Not a warranty repair: the customer must accept a quote first."
        )
    if chargeable := job.chargeable_repairs:
        codes = ", ".join(repair.fault.code for repair in chargeable)
        raise RefusedError(
            f"The warranty does not cover {codes}: the customer must accept a quote for"
            " it first. Or mark it as not repaired."
        )


def decline(job: Job, *, stamp: Stamp, why: str = "") -> None:
    """The customer said no."""
    transition(job, DECLINED, stamp=stamp, why=why)


def revise(job: Job, *, stamp: Stamp, why: str = "") -> None:
    """Back to the diagnosis: the quote must change."""
    only_from = (QUOTED, APPROVED, DECLINED)
    transition(job, DIAGNOSED, stamp=stamp, why=why, only_from=only_from)


@transaction.atomic
def mark_repaired(job: Job, *, stamp: Stamp) -> None:
    """The fix is done; it is not tested yet."""
    _check_from(job, APPROVED, new=REPAIRED)
    to_be_fixed = job.repairs.to_be_fixed()
    if not to_be_fixed.exists():
        raise IncompleteError(
            "No fault is being repaired. Add one, or close without repair."
        )
    if to_be_fixed.filter(fix=None).exists():
        raise IncompleteError("Select the fix for each fault.")
    transition(job, REPAIRED, stamp=stamp)


@transaction.atomic
def complete_final_test(job: Job, *, stamp: Stamp) -> None:
    """Every repair has passed its final test."""
    _check_from(job, REPAIRED, new=TESTED)
    if problems := closing.untested(job):
        raise IncompleteError(problems[0])
    transition(job, TESTED, stamp=stamp)


def fail_final_test(job: Job, *, stamp: Stamp, why: str = "") -> None:
    """It failed again: back to repair."""
    transition(job, APPROVED, stamp=stamp, why=why, only_from=states.IN_FINAL_TEST)


@transaction.atomic
def close(job: Job, *, outcome: str, stamp: Stamp, why: str = "") -> None:
    """The bench is done with it, and its timers stop.

    `outcome` is one of states.CLOSED_WITH.
    """
    if outcome not in states.CLOSED_WITH:
        raise IncompleteError("Select an outcome.")
    only_from = {FIXED: {TESTED}, DECLINED_BY_CUSTOMER: {DECLINED}}
    _check_from(job, *only_from.get(outcome, AT_THE_BENCH), new=READY)
    if missing := closing.missing(job, outcome, why=why):
        raise IncompleteError(" ".join(missing))
    if outcome in states.OUTCOMES:
        job.repairs.filter(outcome="").update(outcome=outcome)
    for timer in job.labour.running():
        timer.stop(at=stamp.at)
    no_longer = {"waiting_for": "", "waiting_note": "", "waiting_since": None}
    transition(job, READY, stamp=stamp, why=why, outcome=outcome, **no_longer)
    _tell(job)


@transaction.atomic
def reopen(job: Job, *, stamp: Stamp, why: str) -> None:
    """Back to the bench. All outcomes are open again.

    Work continues if the customer's approval, or the warranty, is still in force;
    otherwise a quote is needed.
    """
    _check_from(job, READY, new=DIAGNOSED)
    if not why.strip():
        raise IncompleteError("Enter a reason for reopening the job.")
    new = APPROVED if job.was_approved else DIAGNOSED
    job.repairs.update(outcome="")
    transition(job, new, stamp=stamp, why=why, only_from={READY}, outcome="")
    _tell(job)


def _tell(job: Job) -> None:
    for action in AFTER_CLOSING:
        action(job)


@transaction.atomic
def hand_over(job: Job, *, stamp: Stamp, shop: Shop) -> None:
    """The device leaves: costs are final, and the warranty on what was fixed starts."""
    on = stamp.on
    if on < job.booked_in_on:
        raise RefusedError(
            "A device cannot be handed over before the day it was booked in."
        )
    transition(job, HANDED_OVER, stamp=stamp, handed_over_on=on, uncollected_since=None)
    decision, covered = job.decision, job.covered_repairs
    labour = list(job.labour.all())
    repairs = list(
        job.repairs.select_related("fix").prefetch_related("labour", "parts_used")
    )
    for repair in repairs:
        repair.cost = repair_cost(
            repair.minutes,
            job_minutes=sum(work.minutes for work in labour if not work.repair_id),
            repairs=len(repairs),
            hourly_cost=shop.hourly_cost,
            parts=[
                (repair.parts_cost_from_history, 1),
                *((used.cost, used.quantity) for used in repair.parts_used.all()),
            ],
        )
        repair.handed_over_on = on
        if repair.outcome == FIXED:
            continued = decision if repair.pk in covered else None
            promise = repair.promise(on=on, shop=shop, decision=continued)
            repair.warranty_days, repair.warranty_until = promise.days, promise.until
        repair.save(
            update_fields=["cost", "handed_over_on", "warranty_days", "warranty_until"]
        )
    Comeback.objects.write(job)
    # Who was shown the code stays in the trail.
    AccessCode.objects.filter(job=job).delete()
