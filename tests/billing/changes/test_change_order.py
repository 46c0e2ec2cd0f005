"""The work Extra work needed than was agreed: the customer is asked, and it is kept."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from billing.changes import actions, queries
from billing.changes.models import ChangeAnswer, ChangeLine, ChangeOrder
from billing.handover.actions import hand_over
from billing.invoices.draft import agreed_price, draft_invoice
from billing.quotes import drafting
from repairs.jobs.actions import use_part
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Shop
from shopdesk.shop.tax import Tax
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.papers import words_of

pytestmark = pytest.mark.django_db


def line(price, text="Second socket", quantity=1, rate=20, kind="part"):
    made = ChangeLine(
        kind=kind, text=text, quantity=Decimal(quantity), price=Decimal(price)
    )
    made.set_tax(Tax("standard", Decimal(rate)))
    return made


def record(job, *lines, by=None, **facts):
    facts.setdefault("why", "The second socket is cracked too.")
    lines = lines or [line("10.00")]
    return actions.record(job, lines=lines, stamp=make.stamp(by=by), **facts)


def agree(change, decision="yes", by=None, **facts):
    facts = {"who": "Ada Fenwick", "how": "counter"} | facts
    return actions.answer(change, decision=decision, stamp=make.stamp(by=by), **facts)


def waiting_for(job):
    return Job.objects.get(pk=job.pk).waiting_for


@pytest.fixture
def quote():
    return till.accepted()


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.BENCH))
    return client


# --- the record ---------------------------------------------------------------


def test_a_change_says_what_is_added_and_the_new_total(quote):
    before = quote.accepted_option.totals().gross
    by = make.user()
    change = record(quote.job, line("10.00"), line("2.50", quantity=2), by=by)
    assert (change.agreed_before, change.extra, change.new_total) == (
        before,
        Decimal("18.00"),
        before + 18,
    )
    assert change.recorded_by == by and change.is_open
    assert waiting_for(quote.job) == "customer"


def test_tax_is_rounded_once_over_all_that_was_agreed(quote):
    """Three changes of 0.02 at 20 % each add 0.02 of net; tax is that of their sum."""
    for _ in range(3):
        agree(record(quote.job, line("0.02")))
    net = quote.accepted_option.totals().net + Decimal("0.06")
    last = ChangeOrder.objects.last()
    assert last.new_total == net + (net * Decimal("0.2")).quantize(Decimal("0.01"))
    assert agreed_price(quote.job, shop=Shop.current()) == last.new_total


def test_an_answer_keeps_day_person_way_number_and_who_took_it_down(quote):
    by = make.user()
    change = record(quote.job)
    agree(change, how="phone", reached_at="+44 1632 960123", by=by)
    kept = ChangeAnswer.objects.get()
    assert (kept.decision, kept.who, kept.how) == ("yes", "Ada Fenwick", "phone")
    assert (kept.reached_at, kept.recorded_by) == ("+44 1632 960123", by)
    assert waiting_for(quote.job) == ""


def test_what_else_the_job_waits_for_is_not_undone(quote):
    change = record(quote.job)
    Job.objects.filter(pk=quote.job_id).update(waiting_for="parts")
    agree(change)
    assert waiting_for(quote.job) == "parts"


def test_the_same_answer_twice_is_one_and_another_is_refused(quote):
    change = record(quote.job)
    assert agree(change) == agree(change)
    with pytest.raises(RefusedError, match="Already agreed by Ada"):
        agree(change, decision="no")
    assert ChangeAnswer.objects.get().decision == "yes"


@pytest.mark.parametrize(
    "act",
    [
        lambda change: ChangeOrder.objects.update(extra=1, new_total=1),
        lambda change: change.lines.update(text="Another"),
        lambda change: change.answer.delete(),
        lambda change: ChangeAnswer.objects.update(who="Somebody"),
        lambda change: _one_more(change),
    ],
)
def test_the_database_refuses_to_change_what_was_agreed(quote, act):
    change = record(quote.job)
    agree(change)
    change.refresh_from_db()
    with pytest.raises(DatabaseError), transaction.atomic():
        act(change)
    assert ChangeOrder.objects.get().extra == change.extra
    assert ChangeLine.objects.get().text == "Second socket"
    assert ChangeAnswer.objects.get().who == "Ada Fenwick"


def _one_more(change):
    more = line("90.00")
    more.change, more.position = change, 2
    more.calculate(places=2)
    more.save()


def test_a_second_change_waits_until_the_first_is_answered(quote):
    record(quote.job)
    with pytest.raises(RefusedError, match="still waiting for an answer"):
        record(quote.job)
    assert ChangeOrder.objects.count() == 1


def test_what_was_refused_or_withdrawn_is_not_agreed(quote):
    before = agreed_price(quote.job, shop=Shop.current())
    agree(record(quote.job), decision="no", why="Leave it")
    actions.withdraw(record(quote.job), stamp=make.stamp())
    assert queries.agreed_changes(quote.job) == []
    assert agreed_price(quote.job, shop=Shop.current()) == before


@pytest.mark.parametrize("lines", [[], [line("0.00")]])
def test_a_change_that_adds_nothing_is_refused(quote, lines):
    with pytest.raises(RefusedError):
        actions.record(quote.job, why="x", lines=lines, stamp=make.stamp())
    assert not ChangeOrder.objects.exists() and waiting_for(quote.job) == ""


def test_only_a_job_that_is_being_worked_on_can_get_one():
    for job in (till.sent().job, till.ready(), till.warranty_job(is_repaired=False)):
        with pytest.raises(RefusedError):
            record(job)
    assert not ChangeOrder.objects.exists()


def test_a_change_of_a_quote_that_was_revised_is_not_agreed_to(quote):
    change = record(quote.job)
    drafting.revise(quote, stamp=make.stamp())
    with pytest.raises(RefusedError, match="revised meanwhile"):
        agree(change)
    assert change.is_open and queries.agreed_changes(quote.job) == []


# --- the bill -----------------------------------------------------------------


def test_the_bill_asks_for_option_and_changes_and_its_paper_says_who_agreed(quote):
    change = record(quote.job, line("10.00", text="Second socket fitted"))
    agree(change, how="phone", reached_at="+44 1632 960123", by=make.user(name="Bo"))
    job = till.mend(quote.job)
    bill = draft_invoice(job, on=till.TODAY, shop=Shop.current())
    assert bill.totals.gross == change.new_total
    assert [one.text for one in bill.lines][-1] == "Second socket fitted"
    assert bill.lines[-1].repair_id == job.repairs.get().pk
    invoice = hand_over(
        job, version=None, stamp=make.stamp(on=till.TODAY), paid=0, means=""
    )
    assert invoice.gross == change.new_total
    words = words_of(invoice.pdf)
    for told in ("Agreed after the quote", "Ada Fenwick", "by phone", "Bo"):
        assert told in words
    assert "+44 1632 960123" in words and "The second socket is cracked too." in words


def test_without_changes_the_bill_is_as_it_was_quoted(quote):
    job = till.mend(quote.job)
    bill = draft_invoice(job, on=till.TODAY, shop=Shop.current())
    assert bill.totals.gross == quote.accepted_option.totals().gross


# --- the work so far ----------------------------------------------------------


def test_work_beyond_what_was_agreed_is_told_until_a_change_is_agreed(quote, desk):
    job, repair = quote.job, quote.job.repairs.get()
    where = reverse("changes:so_far", args=[job.pk])
    assert queries.so_far(job, shop=Shop.current()).over == 0
    assert desk.get(where).content.strip() == b""
    job.labour.create(repair=repair, minutes=60)
    use_part(repair, part=make.part(on_hand=9), quantity=1, stamp=make.stamp())
    told = queries.so_far(job, shop=Shop.current())
    # 60 minutes at 68.00 and a part of 2.50 with 60 % on it, against 51.00 + 8.00.
    assert (told.agreed, told.done) == (Decimal("59.00"), Decimal("72.00"))
    assert "Ask the customer before you continue" in desk.get(where).content.decode()
    agree(record(job, line("13.00", kind="labour")))
    assert queries.so_far(job, shop=Shop.current()).over == 0
    assert desk.get(where).content.strip() == b""


def test_the_bench_is_told_on_its_page_that_an_answer_is_waited_for(quote, desk):
    where = reverse("changes:so_far", args=[quote.job_id])
    bench = desk.get(quote.job.get_absolute_url()).content.decode()
    assert f'hx-get="{where}"' in bench
    record(quote.job)
    told = " ".join(desk.get(where).content.decode().split())
    assert "Extra work of €12.00 is not answered yet" in told


def test_minutes_that_are_not_billable_and_finding_the_fault_do_not_count(quote):
    job = quote.job
    before = quote.answered_at - timedelta(minutes=1)
    job.labour.create(repair=job.repairs.get(), minutes=600, booked_at=before)
    job.labour.create(repair=job.repairs.get(), minutes=600, is_billable=False)
    job.labour.create(minutes=600)
    assert queries.so_far(job, shop=Shop.current()).done == 0


# --- the page -----------------------------------------------------------------


def typed(**more):
    sent = {"change-why": "The second socket is cracked too.", "answer-decision": "ask"}
    sent |= {
        "line1-kind": "part",
        "line1-text": "Second socket",
        "line1-quantity": "1",
        "line1-price": "10.00",
        "line1-tax_kind": "standard",
    }
    for n in range(2, 6):
        sent |= {f"line{n}-kind": "part", f"line{n}-quantity": "1"}
        sent |= {f"line{n}-tax_kind": "standard", f"line{n}-text": ""}
        sent |= {f"line{n}-price": ""}
    return sent | more


def test_a_change_is_written_down_on_the_page_and_answered_later(desk, quote):
    where = reverse("changes:for_job", args=[quote.job_id])
    assert "Add extra work" in desk.get(where).content.decode()
    page = desk.post(where, typed(), follow=True)
    change = ChangeOrder.objects.get()
    assert change.lines.count() == 1 and change.is_open
    assert change.recorded_by.role == Role.BENCH
    assert "Record answer" in page.content.decode()
    answer = reverse("changes:answer", args=[change.pk])
    told = {"answer-decision": "yes", "answer-who": "Ada", "answer-how": "counter"}
    page = desk.post(answer, told, follow=True)
    assert "Agreed by Ada, at the counter" in " ".join(page.content.decode().split())


def test_a_change_is_taken_back_by_nobody_but_the_desk(desk, quote):
    change = record(quote.job)
    told = {"answer-decision": "withdrawn", "answer-who": "Ada", "answer-how": "phone"}
    desk.post(reverse("changes:answer", args=[change.pk]), told)
    kept = ChangeAnswer.objects.get()
    assert (kept.decision, kept.who, kept.how) == ("withdrawn", "", "")
    assert waiting_for(quote.job) == "" and kept.recorded_by.role == Role.BENCH


def test_a_change_agreed_on_the_telephone_is_written_down_at_once(desk, quote):
    where = reverse("changes:for_job", args=[quote.job_id])
    told = {"answer-decision": "yes", "answer-who": "Ada", "answer-how": "phone"}
    page = desk.post(where, typed(**told))
    assert "Enter the phone number or email address." in page.content.decode()
    assert not ChangeOrder.objects.exists()
    told |= {"answer-reached_at": "+44 1632 960123"}
    assert desk.post(where, typed(**told)).status_code == 302
    assert ChangeAnswer.objects.get().reached_at == "+44 1632 960123"


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"change-why": ""}, "This field is required"),
        ({"line1-text": "", "line1-price": ""}, "This field is required"),
        ({"line1-price": "1e5"}, "such as 1234.50"),
        ({"line1-price": "NaN"}, "such as 1234.50"),
        ({"line1-price": "9" * 400}, "such as 1234.50"),
        ({"line1-price": "-1"}, "Enter at least 0"),
        ({"line1-quantity": "0"}, "Enter a quantity"),
        ({"line1-price": "0"}, "does not raise the price"),
        ({"line2-text": "Glue"}, "This field is required"),
        ({"answer-decision": "perhaps"}, "valid choice"),
        (
            {"answer-decision": "yes", "answer-who": "", "answer-how": "counter"},
            "Enter who answered",
        ),
        (
            {"answer-decision": "no", "answer-who": "Ada", "answer-how": ""},
            "Select how",
        ),
        (
            {
                "answer-decision": "yes",
                "answer-who": "Ada",
                "answer-how": "counter",
                "answer-day": str(timezone.localdate() + timedelta(days=2)),
            },
            "in the future",
        ),
        (
            {
                "answer-decision": "yes",
                "answer-who": "Ada",
                "answer-how": "counter",
                "answer-day": "2001-01-01",
            },
            "before the quote was accepted",
        ),
        ({"answer-decision": "yes", "answer-day": "0001-01-01"}, "from 1990-01-01"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(desk, quote, wrong, told):
    where = reverse("changes:for_job", args=[quote.job_id])
    page = desk.post(where, typed(**wrong))
    assert page.status_code == 200 and told in page.content.decode()
    if "change-why" not in wrong:
        assert "The second socket is cracked too." in page.content.decode()
    assert not ChangeOrder.objects.exists() and waiting_for(quote.job) == ""


def test_a_job_without_an_agreed_price_has_nothing_to_change(desk):
    job = till.sent().job
    where = reverse("changes:for_job", args=[job.pk])
    assert "No price is agreed" in desk.get(where).content.decode()
    assert desk.post(where, typed()).status_code == 302
    assert not ChangeOrder.objects.exists()


def test_the_page_asks_no_more_for_more_changes(desk, quote):
    counts = []
    for n in (1, 5):
        for _ in range(n):
            agree(record(quote.job), by=make.user())
        with CaptureQueriesContext(connection) as asked:
            desk.get(reverse("changes:for_job", args=[quote.job_id]))
        counts.append(len(asked))
    assert counts[0] == counts[1]
