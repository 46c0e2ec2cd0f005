"""What is missing before a job can be closed: page, verb and form ask here."""

from repairs.jobs import final_test, states
from repairs.jobs.models import Job, Repair


def missing(job: Job, outcome: str = states.FIXED, *, why: str = "") -> list[str]:
    """Return what must still be done before the job is closed with that outcome."""
    tasks = open_tasks(job)
    if outcome == states.DECLINED_BY_CUSTOMER:
        return tasks
    repairs = list(job.repairs.all())
    if outcome == states.FIXED:
        if not repairs:
            return [*tasks, "No diagnosis yet: add a fault."]
        tasks += [why for repair in repairs for why in missing_of(repair)]
        if all(repair.is_not_repaired for repair in repairs):
            tasks.append("No fault is fixed: close without repair.")
        return tasks
    if not why.strip():
        tasks.append("Enter a reason.")
    if any(repair.outcome == states.FIXED for repair in repairs):
        tasks.append("A fault is marked as fixed. Close the job as fixed.")
    return tasks


def open_tasks(job: Job) -> list[str]:
    """Return what must be settled before the job is closed with any outcome."""
    decision = job.decision
    if decision is not None and decision.assessment == states.UNDECIDED:
        return ["Assess the return first."]
    return []


def missing_of(repair: Repair) -> list[str]:
    """Return what keeps one repair from being closed.

    While its outcome is missing it is judged as if it were to be fixed.
    """
    if repair.is_not_repaired:
        return []
    missing = []
    if not repair.outcome:
        missing.append("select the outcome.")
    if repair.fix is None:
        missing.append("select the fix.")
    if repair.outcome and not repair.fix_type:
        missing.append("select the type, lasting or stopgap.")
    if repair.is_stopgap and not repair.expected_days:
        missing.append("enter how long the stopgap is expected to last.")
    if repair.is_stopgap and not repair.ask_on:
        missing.append("enter the day to ask the customer how the stopgap holds.")
    if repair.needs_parts and not (repair.no_part_needed or repair.has_parts):
        missing.append(
            "this fix usually needs a part and none is booked. Book it, or tick “No"
            " parts needed”."
        )
    if problem := final_test.problem(repair.valid_tests):
        missing.append(problem)
    return [f"{repair.fault.code}: {item}" for item in missing]


def untested(job: Job) -> list[str]:
    """Return what keeps the final test of each repair from being passed."""
    repairs = job.repairs.to_be_fixed().select_related("fault")
    found = [
        (repair.fault.code, final_test.problem(repair.valid_tests))
        for repair in repairs.prefetch_related("final_tests")
    ]
    return [f"{code}: {problem}" for code, problem in found if problem]
