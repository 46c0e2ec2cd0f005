"""What is missing before a job can be closed: page, verb and form ask here."""

from repairs.jobs import proof, states
from repairs.jobs.models import Job, Repair


def missing(job: Job, outcome: str = states.FIXED, *, why: str = "") -> list[str]:
    """Return what must still be done before the job is closed with that outcome."""
    tasks = open_tasks(job)
    if outcome == states.DECLINED_BY_CUSTOMER:
        return tasks
    repairs = list(job.repairs.all())
    if outcome == states.FIXED:
        if not repairs:
            return [*tasks, "No fault has been named yet."]
        tasks += [why for repair in repairs for why in missing_of(repair)]
        if all(repair.is_given_up for repair in repairs):
            tasks.append("No fault of this job is fixed: close it another way.")
        return tasks
    if not why.strip():
        tasks.append("Say in a sentence how you came to this.")
    if any(repair.outcome == states.FIXED for repair in repairs):
        tasks.append("A fault of this job is marked fixed.")
    return tasks


def open_tasks(job: Job) -> list[str]:
    """Return what must be settled before the job is closed with any outcome."""
    tasks = [
        f"{timer.by or 'Somebody'}’s timer still runs on this job: stop it first."
        for timer in job.labour.all()
        if timer.is_running
    ]
    decision = job.decision
    if decision is not None and decision.what == states.UNDECIDED:
        tasks.append("This is a return: decide first what it is.")
    return tasks


def missing_of(repair: Repair) -> list[str]:
    """Return what keeps one repair from being closed.

    While its outcome is missing it is judged as if it were to be fixed.
    """
    if repair.is_given_up:
        return []
    lacks = []
    if not repair.outcome:
        lacks.append("the outcome is missing.")
    if repair.fix is None:
        lacks.append("the fix is missing.")
    if repair.outcome and not repair.fix_type:
        lacks.append("say whether the fix is lasting or a stopgap.")
    if repair.needs_parts and not (repair.no_part_needed or repair.has_parts):
        lacks.append(
            "this fix takes a part and none is booked. Book it, or say that no part was"
            " needed."
        )
    if problem := proof.problem(repair.valid_tests):
        lacks.append(problem)
    return [f"{repair.fault.code}: {lack}" for lack in lacks]


def untested(job: Job) -> list[str]:
    """Return what keeps the final test of each repair from being passed."""
    repairs = job.repairs.going_on().select_related("fault")
    found = [
        (repair.fault.code, proof.problem(repair.valid_tests))
        for repair in repairs.prefetch_related("final_tests")
    ]
    return [f"{code}: {problem}" for code, problem in found if problem]
