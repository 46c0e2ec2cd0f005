"""Jobs on their way through the till: each a step further than the one before."""

from datetime import date
from decimal import Decimal

from django.utils import timezone

from billing.handover.actions import hand_over
from billing.quotes import answering, drafting, sending
from repairs.faults.models import UsualPart
from repairs.jobs import states, workflow
from repairs.jobs.models import FinalTest
from tests import make

TODAY = date(2026, 3, 5)


def now():
    return timezone.now()


def diagnosed(*, fixes=("lasting", "stopgap"), with_part=True, **facts):
    """A job whose fault is found; the fault book has a fix of each of `fixes`."""
    fault = make.fault()
    for kind in fixes:
        fix = make.fix(
            fault, name=f"{kind.capitalize()} mend", fix_type=kind, minutes=45
        )
        if with_part and kind == "lasting":
            part = make.part(on_hand=5, unit_cost=Decimal("2.50"))
            UsualPart.objects.create(fix=fix, part=part, quantity=2)
    job = make.job(**facts)
    make.repair(job, fault)
    workflow.diagnose(job, stamp=make.stamp())
    return job


def drafted(**facts):
    return drafting.draft(diagnosed(**facts), stamp=make.stamp(on=TODAY))


def sent(on=TODAY, **facts):
    return sending.send(drafted(**facts), stamp=make.stamp(on=on))


def accept_online(quote, *, on=TODAY, option=None, **facts):
    facts.setdefault("who", "Ada Fenwick")
    facts.setdefault("how", "counter")
    option = option or quote.options.first()
    return answering.accept(quote, option=option, **facts, stamp=make.stamp(on=on))


def accepted(**facts):
    return accept_online(sent(**facts))


def mend(job):
    """The bench does the work, proves it and closes."""
    job.refresh_from_db()
    for repair in job.repairs.all():
        if repair.fix is None:
            repair.fix = repair.fault.fixes.first() or make.fix(repair.fault)
        repair.fix_type = repair.fix_type or repair.fix.fix_type
        repair.outcome = states.FIXED
        repair.no_part_needed = True
        repair.expected_days, repair.ask_on = 21, TODAY
        repair.save()
        FinalTest.objects.create(repair=repair, tries=9, needed=1, run_at=now())
    workflow.mark_repaired(job, stamp=make.stamp())
    workflow.complete_final_test(job, stamp=make.stamp())
    workflow.close(job, outcome=states.FIXED, stamp=make.stamp())
    return job


def ready(**facts):
    """A job that was quoted, accepted, repaired and closed."""
    return mend(accepted(**facts).job)


def warranty_job(*, is_repaired=True):
    """A job whose comeback is in warranty, perhaps already repaired."""
    fault = make.fault()
    fix = make.fix(fault, name="Replace the socket")
    earlier = make.past_repair(
        fault,
        fix,
        on=date(2026, 1, 5),
        warranty_until=date(2026, 7, 4),
        warranty_days=180,
    )
    job = make.comeback(earlier, on=date(2026, 3, 2)).job
    make.repair(job, fault, fix=fix)
    workflow.diagnose(job, stamp=make.stamp())
    if not is_repaired:
        return job
    workflow.approve_warranty_repair(job, stamp=make.stamp())
    return mend(job)


def handed_over(*, paid=Decimal(0), means="", key=None, on=TODAY, **facts):
    """The invoice of a job that went the whole way."""
    return hand_over(
        ready(**facts),
        version=None,
        stamp=make.stamp(on=on),
        paid=paid,
        means=means,
        key=key,
    )
