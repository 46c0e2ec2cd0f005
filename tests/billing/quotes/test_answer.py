"""The customer answers, and the desk writes it down."""

from datetime import timedelta
from decimal import Decimal

import pytest

from billing.quotes import answering, drafting, sending, states
from repairs.jobs import workflow
from repairs.jobs.models import JobTransition
from shopdesk.errors import InvalidTransitionError
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db


def decline(quote, **facts):
    facts = {"who": "Ada", "how": "phone", "why": "too expensive"} | facts
    return answering.decline(quote, **facts, stamp=make.stamp())


def test_a_yes_tells_the_job_and_the_repair():
    quote = till.sent()
    stopgap = quote.options.get(fix_type="stopgap")
    till.accept_online(quote, option=stopgap)
    quote.refresh_from_db()
    assert (quote.state, quote.accepted_option, quote.answered_by) == (
        "accepted",
        stopgap,
        "Ada Fenwick",
    )
    job = quote.job
    job.refresh_from_db()
    repair = job.repairs.get()
    assert job.state == "approved"
    assert (repair.fix.name, repair.fix_type, repair.warranty_days) == (
        "Stopgap mend",
        "stopgap",
        30,
    )


def test_a_yes_to_two_faults_tells_both_repairs():
    job = till.diagnosed()
    other = make.fault(name="Fan noisy")
    fan = make.fix(other, name="Replace the fan", warranty_days=90)
    second = make.repair(job, other)
    quote = sending.send(
        drafting.draft(job, stamp=make.stamp(on=till.TODAY)),
        stamp=make.stamp(on=till.TODAY),
    )
    till.accept_online(quote, option=quote.options.get(fix_type="stopgap"))
    second.refresh_from_db()
    first = job.repairs.exclude(pk=second.pk).get()
    assert (second.fix, second.fix_type, second.warranty_days) == (fan, "lasting", 30)
    assert (first.fix.name, first.fix_type) == ("Stopgap mend", "stopgap")


def test_two_yeses_are_one():
    quote = till.sent()
    till.accept_online(quote)
    steps = JobTransition.objects.count()
    till.accept_online(quote, who="Somebody else")
    quote.refresh_from_db()
    assert quote.answered_by == "Ada Fenwick" and JobTransition.objects.count() == steps


def test_a_yes_to_another_option_afterwards_is_refused():
    quote = till.accepted()
    with pytest.raises(
        InvalidTransitionError, match="already answered this quote: accepted"
    ):
        till.accept_online(quote, option=quote.options.last())
    quote.refresh_from_db()
    assert quote.accepted_option == quote.options.first()


def test_a_yes_after_the_last_day_is_refused_and_a_no_is_not():
    quote = till.sent()
    late = quote.valid_until + timedelta(days=1)
    with pytest.raises(InvalidTransitionError, match="expired on 4 Apr 2026"):
        till.accept_online(quote, on=late)
    quote.refresh_from_db()
    assert quote.state == states.SENT and quote.job.state == "quoted"
    decline(quote)
    quote.refresh_from_db()
    assert quote.state == states.DECLINED


def test_on_the_last_day_a_yes_holds():
    quote = till.sent()
    till.accept_online(quote, on=quote.valid_until)
    quote.refresh_from_db()
    assert quote.state == states.ACCEPTED


def test_a_yes_binds_the_version_that_was_shown():
    old = till.sent()
    new = drafting.revise(old, stamp=make.stamp())
    with pytest.raises(InvalidTransitionError, match="revised meanwhile"):
        till.accept_online(old)
    sending.send(new, stamp=make.stamp(on=till.TODAY))
    with pytest.raises(InvalidTransitionError, match="revised meanwhile"):
        till.accept_online(old)
    new.refresh_from_db()
    assert new.state == states.SENT and new.job.state == "quoted"


def test_an_option_of_another_quote_is_refused():
    quote, other = till.sent(), till.sent()
    with pytest.raises(InvalidTransitionError, match="not part of this quote"):
        till.accept_online(quote, option=other.options.first())
    quote.refresh_from_db()
    assert quote.state == states.SENT


def test_a_no_keeps_its_reason_and_the_job_can_go_home():
    quote = till.sent(agreed_diagnosis_fee=Decimal(25))
    decline(quote)
    decline(quote)  # told twice, written once
    job = quote.job
    job.refresh_from_db()
    assert job.state == "declined"
    assert job.transitions.filter(to_state="declined").get().why == "too expensive"


def test_after_a_yes_no_no_is_taken():
    quote = till.accepted()
    with pytest.raises(
        InvalidTransitionError, match="already answered this quote: accepted"
    ):
        decline(quote)
    quote.refresh_from_db()
    assert quote.state == states.ACCEPTED


def test_a_job_that_went_back_to_the_bench_takes_no_answer_to_the_old_quote():
    quote = till.sent()
    workflow.revise(quote.job, why="There is more to it.", stamp=make.stamp())
    for act in (till.accept_online, decline):
        with pytest.raises(InvalidTransitionError, match="went back to diagnosis"):
            act(quote)
    quote.refresh_from_db()
    assert quote.state == states.SENT and quote.job.state == "diagnosed"
    assert drafting.revise(quote, stamp=make.stamp()).version == 2
