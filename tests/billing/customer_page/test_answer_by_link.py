"""The customer reads the quote on their own and says yes or no."""

from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone

from billing.quotes import drafting, sending, states
from billing.quotes.models import Quote
from repairs.jobs import workflow
from repairs.jobs.models import Job, JobTransition
from shopdesk.errors import StaleError
from tests import make
from tests.billing import till
from tests.billing.customer_page.conftest import boxes, customer_of


def text(answer):
    return " ".join(answer.content.decode().split())


def state_of(quote):
    return Quote.objects.get(pk=quote.pk).state


def resend(quote):
    new = drafting.revise(quote, stamp=make.stamp())
    return sending.send(new, stamp=make.stamp())


def test_the_page_tells_shop_device_finding_and_every_option_with_its_total(
    customer, quote
):
    page = text(customer.read())
    assert "Fern Lane Electronics" in page and "Your laptop" not in page
    assert str(quote.job.device.model) in page and quote.findings in page
    for option in quote.options.all():
        total = option.totals().gross
        assert option.title in page and f"€{total}" in page
        assert f"{option.warranty_days} days from handover" in page
    assert "tel:+441632960111" in page and "mailto:desk@fernlane.example" in page


def test_what_is_known_of_an_option_is_told_in_its_own_words(shop):
    quote = till.drafted()
    quote.options.update(track_record="We have done this 41 times; 2 came back.")
    quote = sending.send(quote, stamp=make.stamp())
    assert "We have done this 41 times; 2 came back." in text(
        customer_of(quote.job).read()
    )


def test_a_yes_accepts_the_option_and_tells_who_and_how(customer, quote):
    second = quote.options.last()
    answer = customer.send("yes", who="Ada Fenwick", option=second.pk)
    assert (answer.status_code, answer.url) == (303, customer.where)
    quote.refresh_from_db()
    assert (
        quote.state,
        quote.accepted_option,
        quote.answered_by,
        quote.answered_how,
    ) == (
        "accepted",
        second,
        "Ada Fenwick",
        "link",
    )
    assert Job.objects.get(pk=quote.job_id).state == "approved"
    page = text(customer.read())
    assert f"Accepted: “{second.title}”, Ada Fenwick" in page
    assert "Order with obligation to pay" not in page and "Approved. The repair" in page


def test_a_no_keeps_its_reason(customer, quote):
    assert customer.send("no", who="Ada", why="Too expensive for me").status_code == 303
    quote.refresh_from_db()
    assert (quote.state, quote.answer_why, quote.answered_how) == (
        "declined",
        "Too expensive for me",
        "link",
    )
    assert "We are reassembling" in text(customer.read())


@pytest.mark.parametrize(
    ("answer", "typed", "told"),
    [
        ("yes", {"who": ""}, "Your name: This field is required"),
        ("yes", {"who": "a" * 121}, "at most 120"),
        ("yes", {"who": "\x00\u202e"}, "Your name: This field is required"),
        ("yes", {"who": "Ada", "option": "7777777"}, "Select a valid choice"),
        ("yes", {"who": "Ada", "option": ""}, "This field is required"),
        ("yes", {"who": "Ada", "option": "9" * 400}, "Select a valid choice"),
        ("no", {"who": "Ada", "why": ""}, "Reason: This field is required"),
        ("no", {"who": "Ada", "why": "x" * 501}, "at most 500"),
    ],
)
def test_what_is_wrong_is_told_beside_the_box_and_nothing_is_agreed(
    customer, quote, answer, typed, told
):
    page = customer.send(answer, **typed)
    assert page.status_code == 200 and told in text(page)
    assert state_of(quote) == states.SENT
    if typed["who"] == "Ada":
        assert 'value="Ada"' in page.content.decode()


def test_an_answer_that_is_neither_yes_nor_no_changes_nothing(customer, quote):
    for answer in ("perhaps", "", "yes\x00", "change maybe"):
        page = customer.client.post(customer.where, {"answer": answer})
        assert page.status_code in (200, 409)
    assert state_of(quote) == states.SENT


# --- what was shown is what is agreed -----------------------------------------


def test_a_quote_revised_while_the_customer_reads_is_not_agreed_to(customer, quote):
    read = customer.read()
    new = resend(quote)
    page = customer.send("yes", read, who="Ada")
    assert page.status_code == 409
    assert "changed meanwhile. Nothing was ordered" in text(page)
    assert "(version 2)" in text(page)
    assert (state_of(quote), state_of(new)) == ("replaced", "sent")
    # What is shown now can be agreed to at once, from the very same answer.
    assert customer.send("yes", page, who="Ada").status_code == 303
    assert state_of(new) == states.ACCEPTED


def test_while_the_new_version_is_written_there_is_nothing_to_agree_to(customer, quote):
    read = customer.read()
    drafting.revise(quote, stamp=make.stamp())
    page = customer.send("no", read, who="Ada", why="Too expensive")
    assert page.status_code == 409 and "Nothing was ordered" in text(page)
    assert "preparing a quote" in text(page)
    assert state_of(quote) == states.REPLACED
    assert customer.client.get(f"{customer.where}quote.pdf").status_code == 404


@pytest.mark.parametrize(
    "altered",
    [
        {"yes-shown": ""},
        {"yes-shown": "1=0.01"},
        {"yes-shown": "\x00"},
    ],
)
def test_hidden_figures_that_were_altered_agree_to_nothing(customer, quote, altered):
    sent = boxes(customer.read(), "yes") | {"yes-who": "Ada", "answer": "yes"} | altered
    page = customer.client.post(customer.where, sent)
    assert page.status_code == 409 and "Nothing was ordered" in text(page)
    assert state_of(quote) == states.SENT


def test_the_totals_shown_are_held_against_the_books_under_lock(customer, quote):
    """Past the form, too: the last word is the verb's."""
    from billing.customer_page import actions as link

    with pytest.raises(StaleError, match="changed meanwhile"):
        link.accept_online(
            quote,
            option=quote.options.first(),
            shown=f"{quote.options.first().pk}=1.00",
            who="Ada",
            how="link",
            stamp=make.stamp(),
        )
    assert state_of(quote) == states.SENT


def test_a_job_that_went_back_to_the_bench_takes_no_answer(customer, quote):
    read = customer.read()
    workflow.revise(quote.job, why="There is more to it.", stamp=make.stamp())
    page = customer.send("yes", read, who="Ada")
    assert page.status_code == 409 and "checking your device again" in text(page)
    assert state_of(quote) == states.SENT
    assert "Order with obligation to pay" not in text(customer.read())


# --- two answers --------------------------------------------------------------


def test_two_yeses_are_one(customer, quote):
    read = customer.read()
    assert customer.send("yes", read, who="Ada").status_code == 303
    steps = JobTransition.objects.count()
    assert customer.send("yes", read, who="Somebody else").status_code == 303
    quote.refresh_from_db()
    assert quote.answered_by == "Ada" and JobTransition.objects.count() == steps


def test_another_yes_or_a_no_after_a_yes_is_refused_in_a_sentence(customer, quote):
    read = customer.read()
    customer.send("yes", read, who="Ada")
    other = customer.send("yes", read, who="Ada", option=quote.options.last().pk)
    no = customer.send("no", read, who="Ada", why="Changed my mind")
    for page in (other, no):
        assert page.status_code == 409 and "was already accepted on" in text(page)
    quote.refresh_from_db()
    assert quote.state == "accepted" and quote.accepted_option == quote.options.first()


def test_a_yes_after_a_no_is_refused_in_a_sentence(customer, quote):
    read = customer.read()
    customer.send("no", read, who="Ada", why="Too expensive")
    page = customer.send("yes", read, who="Ada")
    assert page.status_code == 409 and "This quote was declined" in text(page)
    assert state_of(quote) == states.DECLINED


def test_an_expired_quote_says_so_and_takes_no_yes(customer, quote):
    read = customer.read()
    with time_machine.travel(timezone.now() + timedelta(days=31)):
        assert "This quote expired on" in text(customer.read())
        assert "Order with obligation to pay" not in text(customer.read())
        page = customer.send("yes", read, who="Ada")
        assert page.status_code == 409 and "ask us for a new quote" in text(page)
        assert state_of(quote) == states.SENT
        # A no may be said late.
        assert customer.send("no", read, who="Ada", why="Too late").status_code == 303
    assert state_of(quote) == states.DECLINED


# --- staff --------------------------------------------------------------------


def test_staff_see_the_page_and_cannot_answer_for_the_customer(customer, desk, quote):
    read = customer.read()
    page = desk.get(customer.where)
    assert "You are signed in as staff" in text(page)
    assert "Order with obligation to pay" not in text(page)
    sent = boxes(read, "yes") | {"yes-who": "Ada", "answer": "yes"}
    assert desk.post(customer.where, sent).status_code == 200
    assert state_of(quote) == states.SENT


def test_the_paper_is_that_of_the_quote_byte_for_byte(customer, quote):
    pdf = customer.client.get(f"{customer.where}quote.pdf")
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content == bytes(Quote.objects.get(pk=quote.pk).pdf)


def test_without_a_quote_the_page_tells_where_the_device_is():
    customer = customer_of(make.job(on=timezone.localdate()))
    assert "Your device is here. The diagnosis comes next." in text(customer.read())
