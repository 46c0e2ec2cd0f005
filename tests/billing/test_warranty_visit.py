"""A visit under warranty on which another fault is found: one is free, one is paid."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from billing.handover.actions import hand_over
from billing.handover.queries import repairs_with_warranty
from billing.quotes import drafting, sending
from billing.quotes.models import QuoteLine
from repairs.bench import queue
from repairs.bench.next_step import QUOTE, START
from repairs.jobs import states, workflow
from repairs.returns.actions import assess_return
from shopdesk.errors import RefusedError
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit():
    """The fault that is back, under warranty until July, and a new one."""
    job = till.warranty_job(is_repaired=False)
    new = make.fault("USB-DEAD", "Port dead")
    make.fix(new, name="Replace the port", minutes=30, warranty_days=200)
    make.repair(job, new)
    return job


def of(job):
    """The repair under warranty and the new one."""
    by_code = {repair.fault.code: repair for repair in job.repairs.all()}
    new = by_code.pop("USB-DEAD")
    [again] = by_code.values()
    return again, new


def control(job):
    [row] = [one for one in queue.queued_jobs() if one.pk == job.pk]
    return queue.step_of(row).control


def test_the_new_fault_is_quoted_charged_and_gets_its_own_warranty(visit):
    job = visit
    again, new = of(job)
    assert job.covered_repairs == {again.pk} and job.chargeable_repairs == [new]
    assert control(job) == QUOTE
    with pytest.raises(RefusedError, match="does not cover USB-DEAD"):
        workflow.approve_warranty_repair(job, stamp=make.stamp())
    quote = drafting.draft(job, stamp=make.stamp(on=till.TODAY))
    lines = QuoteLine.objects.filter(option__quote=quote, repair__isnull=False)
    assert {line.repair_id for line in lines} == {new.pk}
    assert "under warranty, free of charge: Charging socket loose" in quote.findings
    quote = sending.send(quote, stamp=make.stamp(on=till.TODAY))
    till.accept_online(quote)
    till.mend(job)
    shown = {
        one.pk: one.warranty_until
        for one in repairs_with_warranty(job, on=till.TODAY, shop=make.shop())
    }
    facts = {"version": None, "paid": Decimal(0), "means": "", "key": None}
    invoice = hand_over(job, stamp=make.stamp(on=till.TODAY), **facts)
    again.refresh_from_db()
    new.refresh_from_db()
    agreed = quote.options.get().totals()
    assert invoice.gross == agreed.gross > 0
    texts = [line.text for line in invoice.lines.all() if line.price == 0]
    assert texts == ["Replace the socket, under warranty"]
    assert (again.charged, new.charged) == (0, agreed.net)
    assert again.warranty_until == date(2026, 7, 4)
    assert new.warranty_until == till.TODAY + timedelta(days=200)
    assert shown == {again.pk: again.warranty_until, new.pk: new.warranty_until}


def test_without_the_new_fault_it_starts_free_of_charge(visit):
    again, new = of(visit)
    new.outcome = states.NOT_FIXED
    new.save()
    assert control(visit) == START
    workflow.approve_warranty_repair(visit, stamp=make.stamp())
    assert visit.approved_warranty_repair


def test_a_fault_under_another_name_is_still_the_one_that_is_back():
    job = till.warranty_job(is_repaired=False)
    job.repairs.update(fault=make.fault("PWR-BOARD", "Board cracked"))
    assert job.covered_repairs == {job.repairs.get().pk} and control(job) == START


def test_a_start_is_taken_back_if_the_warranty_turns_out_to_cover_less(visit):
    again, new = of(visit)
    new.delete()
    workflow.approve_warranty_repair(visit, stamp=make.stamp())
    other = make.past_repair(
        make.fault("DSP-DARK"),
        make.fix(),
        on=date(2026, 1, 6),
        of=visit.device,
        warranty_until=date(2026, 7, 5),
    )
    make.repair(visit, other.fault)
    facts = {"assessment": states.SAME_FAULT, "is_in_warranty": True}
    assess_return(visit, earlier=other, stamp=make.stamp(), **facts)
    visit.refresh_from_db()
    assert visit.state == states.DIAGNOSED
