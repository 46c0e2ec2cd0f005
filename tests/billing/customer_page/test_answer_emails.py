"""Who answers is told by mail what was agreed to, and the shop that somebody did."""

import email
import logging
from datetime import timedelta
from decimal import Decimal
from email.policy import default as as_mail

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from billing.changes import actions as changes
from billing.changes.models import ChangeAnswer
from billing.customer_page import actions as link_actions
from billing.customer_page.models import Signature
from billing.invoices.draft import draft_invoice
from billing.quotes import drafting, sending
from billing.quotes.models import Quote
from repairs.customers.models import Customer
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.changes.test_change_order import record
from tests.billing.customer_page.conftest import boxes, customer_of
from tests.billing.customer_page.test_simultaneous_answers import at_once, posting
from tests.billing.repair_form.test_repair_form import given as given_form
from tests.billing.repair_form.test_repair_form import yes as agree_to
from tests.shopdesk.mail.post_office import open_office

ADA, SHOP = "ada@fenwick.example", "desk@fernlane.example"


@pytest.fixture
def quote(shop):
    return sent()


def sent(address=ADA, **facts):
    owner = make.customer(email=address)
    of = make.device(owner=owner)
    return till.sent(on=timezone.localdate(), of=of, **facts)


def posted():
    """The letters that were written, by whom they go to; never two to the same."""
    letters = list(Email.objects.all())
    by_reader = {letter.to: letter for letter in letters}
    assert len(by_reader) == len(letters)
    return by_reader


def lines(letter):
    return letter.text.splitlines()


def enclosed(letter):
    return [bytes(one.file) for one in letter.attachments.all()]


# --- to the customer ----------------------------------------------------------


def test_a_yes_is_confirmed_with_what_was_agreed_and_the_kept_paper(customer, quote):
    option = quote.options.last()
    customer.send("yes", who="Ada F.", option=option.pk)
    letter, quote = posted()[ADA], Quote.objects.get(pk=quote.pk)
    number, total = quote.job.number, option.totals().gross
    assert number in letter.subject and str(quote.job.device.model) in letter.subject
    assert {
        "Hello Ada Fenwick,",
        f"Quote: {number}, version 1",
        f"Accepted: {option.title}",
        f"Total: €{total} (incl. tax)",
        f"Repair warranty: {option.warranty_days} days from handover. This warranty is"
        " in addition to your legal rights and does not limit them.",
        f"Turnaround: about {option.turnaround_days} days",
        "Fern Lane Electronics",
        SHOP,
    } <= set(lines(letter))
    at = timezone.localtime(quote.answered_at)
    assert f"Answered: Ada F., online, {at:%-d %b %Y, %H:%M}" in lines(letter)
    assert enclosed(letter) == [bytes(quote.pdf)]
    assert letter.status == "waiting"  # no mail server is named, and none is needed
    assert letter.about == quote.get_absolute_url()


def test_the_customer_can_follow_the_device_by_the_link_they_came_by(customer, client):
    customer.send("yes", who="Ada")
    address = next(one for one in lines(posted()[ADA]) if one.startswith("http"))
    assert address == f"http://testserver{customer.where}"
    assert "in progress" in client.get(customer.where).content.decode()


def test_a_no_is_receipted_with_the_fee_and_when_to_fetch_it(shop):
    soon = timezone.localdate() + timedelta(days=4)
    quote = sent(agreed_diagnosis_fee=Decimal(30), due_on=soon)
    customer_of(quote.job).send("no", who="Ada", why="Too expensive")
    letter, job = posted()[ADA], Job.objects.get(pk=quote.job_id)
    workflow.close(job, outcome=job_states.DECLINED_BY_CUSTOMER, stamp=make.stamp())
    fee = draft_invoice(job, on=timezone.localdate(), shop=Shop.current()).totals.gross
    assert fee == 36
    told = "Diagnosis fee, as agreed: €36.00 (incl. tax)"
    assert told in lines(letter) and "nothing was ordered" in letter.text
    assert f"It will be ready for collection by {soon:%-d %b %Y}." in letter.text
    assert enclosed(letter) == []


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({}, "The page below shows when it is ready."),
        ({"came_by": "post"}, "We will ship it back to you."),
        ({"due_on": till.TODAY}, "The page below shows"),
    ],
)
def test_a_no_without_a_fee_says_that_none_is_charged(shop, facts, told):
    quote = sent(**facts)
    customer_of(quote.job).send("no", who="Ada", why="Too expensive")
    text = posted()[ADA].text
    assert "No fee is charged." in text and told in text and "collection by" not in text


def test_a_yes_to_having_it_back_says_how_it_comes_back(shop):
    quote = till.drafted(
        of=make.device(owner=make.customer(email=ADA)), agreed_diagnosis_fee=Decimal(30)
    )
    drafting.add_no_repair(quote, on=timezone.localdate())
    quote = sending.send(quote, stamp=make.stamp())
    back = quote.options.get(work_kind="return")
    customer_of(quote.job).send("yes", who="Ada", option=back.pk)
    text = posted()[ADA].text
    assert f"Accepted: {back.title}\nTotal: €36.00 (incl. tax)\nAnswered" in text
    assert "The page below shows" in text and "cost more" not in text


def test_words_of_the_shop_stand_in_the_confirmation_of_a_yes_alone(customer, quote):
    make.shop(acceptance_text="You may withdraw\nwithin 14 days.")
    customer.send("yes", who="Ada")
    assert "You may withdraw\nwithin 14 days." in posted()[ADA].text
    other = sent("bert@fenwick.example")
    customer_of(other.job).send("no", who="Bert", why="No")
    no = Email.objects.get(to="bert@fenwick.example")
    assert "withdraw" not in no.text


def test_a_yes_at_the_conditions_of_a_form_encloses_the_form(shop):
    make.shop(
        uses_repair_form=True,
        address="7 Fern Lane",
        phone="+441632960111",
        email=SHOP,
    )
    form = given_form()
    Customer.objects.update(email=ADA)
    form.refresh_from_db()
    agree_to(form)
    quote = form.job.quotes.get(state="accepted")
    letter = posted()[ADA]
    assert enclosed(letter) == [bytes(quote.pdf), bytes(form.pdf)]


# --- to the shop --------------------------------------------------------------


def test_the_shop_is_told_who_agreed_to_what_on_which_job(customer, quote):
    customer.send("yes", who="Ada F.")
    letter = posted()[SHOP]
    assert letter.subject.startswith(f"Quote accepted: job {quote.job.number}")
    option = quote.options.first()
    assert {
        f"Job: {quote.job.number}",
        "Customer: Ada Fenwick",
        f"Accepted: {option.title}",
        f"Total: €{option.totals().gross} (incl. tax)",
        f"A confirmation was sent to {ADA}.",
        f"Open job: http://testserver{quote.job.get_absolute_url()}",
    } <= set(lines(letter))
    assert "Answered: Ada F., online, " in letter.text
    assert enclosed(letter) == []


def test_what_a_visitor_typed_can_not_pass_for_lines_of_ours(customer, quote):
    customer.send("no", who="Ada\nAccepted: all", why="No.\n\nOpen job: x")
    letter = posted()[SHOP]
    assert "Answer: declined" in lines(letter)
    assert "Reason: No. Open job: x" in lines(letter)
    assert not any(line.startswith("Accepted") for line in lines(letter))
    assert [line for line in lines(letter) if line.startswith("Open job")] == [
        f"Open job: http://testserver{quote.job.get_absolute_url()}"
    ]


def test_an_address_that_is_known_to_customers_goes_before_the_visitors(
    customer, settings
):
    settings.PUBLIC_URL = "https://bench.example/"
    customer.send("yes", who="Ada")
    told = posted()
    assert f"https://bench.example{customer.where}" in lines(told[ADA])
    assert "Open job: https://bench.example/bench/" in told[SHOP].text


def test_a_host_that_a_visitor_made_up_stands_in_no_letter(customer, quote, settings):
    settings.ALLOWED_HOSTS = [".example", "testserver"]
    typed = boxes(customer.read(), "yes") | {"yes-who": "Ada", "answer": "yes"}
    answer = Client(headers={"host": "evil.example"}).post(customer.where, typed)
    assert answer.status_code == 303
    told = posted()
    assert not any("evil" in letter.text for letter in told.values())
    desk = f"Open job: {quote.job.get_absolute_url()}"
    assert desk in lines(told[SHOP]) and "/q/" not in told[ADA].text


def test_the_token_is_in_no_letter_to_the_shop_and_in_no_log(
    customer, quote, settings, caplog, capsys
):
    caplog.set_level(logging.DEBUG)
    customer.send("yes", who="Ada")
    record(quote.job)
    customer.send("change yes", who="Ada")
    ours = Email.objects.filter(to=SHOP)
    assert ours.count() == 2
    for letter in ours:
        kept = [letter.subject, letter.text, letter.about, letter.message_id]
        assert customer.token not in " ".join(kept) and "/q/" not in letter.text
        assert enclosed(letter) == []
    with open_office(settings):
        call_command("send_post")
    logged = " ".join(one.getMessage() for one in caplog.records)
    assert customer.token not in logged + capsys.readouterr().out


# --- changes of what was agreed -----------------------------------------------


@pytest.fixture
def change(shop):
    quote = till.accept_online(sent(), on=timezone.localdate())
    Email.objects.all().delete()
    return record(quote.job)


def test_a_yes_to_a_change_is_confirmed_with_the_new_total(change):
    customer_of(change.quote.job).send("change yes", who="Ada F.")
    told = posted()
    assert {
        "Extra work: 1",
        change.why,
        "- Second socket: €10.00",
        f"Agreed so far (incl. tax): €{change.agreed_before}",
        f"Extra cost (incl. tax): €{change.extra}",
        f"New total: €{change.new_total}",
    } <= set(lines(told[ADA]))
    assert "Answered: Ada F., online, " in told[ADA].text
    assert enclosed(told[ADA]) == [bytes(Quote.objects.get().pdf)]
    assert told[SHOP].subject.startswith("Extra work accepted: job")
    assert f"New total: €{change.new_total}" in lines(told[SHOP])
    assert {told[ADA].about, told[SHOP].about} == {change.get_absolute_url()}


def test_a_no_to_a_change_says_that_what_was_agreed_goes_on(change):
    customer_of(change.quote.job).send("change no", who="Ada")
    told = posted()
    agreed = change.agreed_before
    goes_on = f"We will continue with the work already agreed, at €{agreed}."
    assert goes_on in told[ADA].text and "(not agreed)" in told[ADA].text
    assert "Answer: declined" in lines(told[SHOP])
    assert enclosed(told[ADA]) == []


def test_a_change_that_is_taken_back_is_told_to_nobody(change):
    changes.withdraw(change, stamp=make.stamp())
    assert posted() == {}


def test_what_the_desk_took_down_before_is_written_as_of_now(change, client):
    client.force_login(make.user(Role.BENCH))
    said = timezone.localtime()
    typed = {
        "answer-decision": "yes",
        "answer-who": "Ada",
        "answer-how": "phone",
        "answer-reached_at": "+44 1632 960123",
        "answer-day": f"{said:%Y-%m-%d}",
        "answer-time": f"{said:%H:%M}",
    }
    before = timezone.now()
    client.post(reverse("changes:answer", args=[change.pk]), typed)
    assert ChangeAnswer.objects.get().given_at <= before
    told = posted()
    assert set(told) == {ADA} and told[ADA].written_at >= before
    assert "Answered: Ada, by phone, " in told[ADA].text


# --- whom, and whether --------------------------------------------------------


@pytest.mark.parametrize("answer", ["yes", "no"])
@pytest.mark.parametrize(
    ("figures", "told"),
    [
        ({}, {ADA, SHOP}),
        ({"emails_customer": False}, {SHOP}),
        ({"emails_shop": False}, {ADA}),
        ({"emails_customer": False, "emails_shop": False}, set()),
        ({"email": ""}, {ADA}),
    ],
)
def test_the_shop_decides_who_is_told(customer, answer, figures, told):
    make.shop(**figures)
    customer.send(answer, who="Ada", **({"why": "No"} if answer == "no" else {}))
    assert set(posted()) == told


@pytest.mark.parametrize("figures", [{}, {"emails_customer": False}])
def test_a_change_is_told_to_whom_the_shop_decides(change, figures):
    make.shop(emails_shop=False, **figures)
    customer_of(change.quote.job).send("change yes", who="Ada")
    assert set(posted()) == ({ADA} if not figures else set())


@pytest.mark.parametrize("address", ["", "ada@", "ada at fenwick", "a@b\nBcc: c@d.e"])
def test_without_an_address_that_works_the_answer_stands_and_the_shop_knows(address):
    quote = sent("")
    Customer.objects.update(email=address)
    assert customer_of(quote.job).send("yes", who="Ada").status_code == 303
    told = posted()
    assert set(told) == {SHOP}
    assert "No confirmation was sent to the customer." in told[SHOP].text
    assert Quote.objects.get().state == "accepted"


@pytest.mark.parametrize("how", ["counter", "phone", "email"])
def test_what_staff_took_down_is_confirmed_to_the_customer_alone(quote, client, how):
    client.force_login(make.user(Role.COUNTER))
    where = reverse("quotes:answer", args=[quote.pk])
    typed = {"yes-who": "Ada", "yes-how": how, "answer": "yes"}
    client.post(where, typed | {"yes-option": quote.options.first().pk})
    told = posted()
    assert set(told) == {ADA} and "/q/" not in told[ADA].text
    assert enclosed(told[ADA]) == [bytes(Quote.objects.get().pdf)]


def test_what_was_signed_on_the_screen_is_told_to_both(quote, client):
    by = make.user(Role.COUNTER)
    client.force_login(by)
    where = reverse("customer_links:sign_here", args=[quote.job_id])
    typed = boxes(client.get(where), "yes") | {"yes-who": "Ada", "answer": "yes"}
    assert client.post(where, typed).status_code == 303
    told = posted()
    assert set(told) == {ADA, SHOP}
    assert "on the counter screen" in told[SHOP].text
    assert told[ADA].written_by == told[SHOP].written_by == by
    assert "/q/" not in told[ADA].text
    assert "job: http://testserver/bench/" in told[SHOP].text


# --- once, or not at all ------------------------------------------------------


def test_an_answer_sent_again_is_told_once(customer, quote):
    yes = boxes(customer.read(), "yes") | {"yes-who": "Ada", "answer": "yes"}
    for _ in range(3):
        assert customer.client.post(customer.where, yes).status_code == 303
    assert set(posted()) == {ADA, SHOP}


def test_a_change_answered_again_is_told_once(change):
    customer = customer_of(change.quote.job)
    page = customer.read()
    assert customer.send("change yes", page, who="Ada").status_code == 303
    assert customer.send("change yes", page, who="Ada").status_code == 409
    changes.answer(change, decision="yes", who="Ada", how="link", stamp=make.stamp())
    assert set(posted()) == {ADA, SHOP}


def test_what_was_refused_is_told_to_nobody(customer, quote):
    page = customer.read()
    drafting.revise(quote, stamp=make.stamp())
    assert customer.send("yes", page, who="Ada").status_code == 409
    assert customer.send("no", page, who="Ada", why="No").status_code == 409
    assert posted() == {}


def test_each_answer_to_a_new_version_is_told_anew(customer, quote):
    customer.send("yes", who="Ada")
    Email.objects.all().delete()
    new = drafting.revise(quote, stamp=make.stamp())
    sending.send(new, stamp=make.stamp())
    customer.send("no", who="Ada", why="Too expensive now")
    assert f"Quote: {quote.job.number}, version 2" in lines(posted()[ADA])


def test_an_answer_that_is_undone_takes_its_letters_along(quote, monkeypatch):
    def fail(**ink):
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(Signature.objects, "create", fail)
    page = customer_of(quote.job).read()
    with pytest.raises(RuntimeError):
        link_actions.accept_online(
            quote,
            option=quote.options.first(),
            shown=boxes(page, "yes")["yes-shown"],
            who="Ada",
            how="screen",
            ink="M1 1L2 2",
            stamp=make.stamp(),
        )
    assert Quote.objects.get().state == "sent" and posted() == {}


@pytest.mark.django_db(transaction=True)
def test_of_two_answers_at_once_the_one_that_counts_is_told_once(customer, quote):
    page = customer.read()
    yes = boxes(page, "yes") | {"yes-who": "Ada", "answer": "yes"}
    no = boxes(page, "no") | {"no-who": "Ada", "no-why": "No", "answer": "no"}
    acts = [posting(customer, yes), posting(customer, yes), posting(customer, no)]
    answers = at_once(*acts)
    told = posted()
    assert set(told) == {ADA, SHOP}
    is_yes = Quote.objects.get().state == "accepted"
    assert sorted(answers) == ([303, 303, 409] if is_yes else [303, 409, 409])
    assert told[SHOP].subject.startswith(
        f"Quote {'accepted' if is_yes else 'declined'}"
    )


@pytest.mark.django_db(transaction=True)
def test_the_same_answer_to_a_change_twice_at_once_is_told_once(change):
    def agree():
        given = changes.answer(
            change, decision="yes", who="Ada", how="link", stamp=make.stamp()
        )
        return given.decision

    assert at_once(agree, agree) == ["yes", "yes"]
    assert set(posted()) == {ADA, SHOP}


# --- as a mail ----------------------------------------------------------------


def test_as_a_mail_it_is_plain_text_with_the_paper_beside_it(customer, quote, settings):
    customer.send("yes", who="Ada Ünal")
    with open_office(settings) as office:
        call_command("send_post")
    mails = [email.message_from_bytes(one, policy=as_mail) for one in office.got]
    by_reader = {mail["To"]: mail for mail in mails}
    assert len(mails) == 2 and set(by_reader) == {ADA, SHOP}
    mail = by_reader[ADA]
    assert mail["From"] == SHOP and mail["Subject"] == posted()[ADA].subject
    assert mail["Message-ID"] == posted()[ADA].message_id
    text = mail.get_body().get_content()
    assert mail.get_body().get_content_type() == "text/plain"
    assert "Answered: Ada Ünal, online" in text
    (paper,) = mail.iter_attachments()
    assert paper.get_content_type() == "application/pdf"
    assert paper.get_filename() == f"quote-{quote.job.number}-1.pdf"
    assert paper.get_content() == bytes(Quote.objects.get().pdf)
    assert list(by_reader[SHOP].iter_attachments()) == []
    assert {letter.status for letter in posted().values()} == {"sent"}


ENGLISH = ("Hello", "Answer", "Accepted", "agreed", "Quote", "Total", "version", "days")


@pytest.mark.parametrize("answer", ["yes", "no"])
def test_letters_are_in_the_language_of_papers(answer, shop):
    make.shop(paper_language="de")
    quote = sent(agreed_diagnosis_fee=Decimal(30))
    quote.options.first()
    customer = customer_of(quote.job)
    customer.send(answer, who="Ada", **({"why": "Nö"} if answer == "no" else {}))
    told = posted()
    for letter in told.values():
        theirs = letter.text.replace(quote.options.first().title, "")
        assert [w for w in ENGLISH if w in f"{letter.subject}\n{theirs}"] == []
    assert f"Angebot: {quote.job.number}, Fassung 1" in lines(told[ADA])
    assert "Guten Tag Ada Fenwick," in lines(told[ADA])


def test_letters_about_a_change_are_in_the_language_of_papers(change):
    make.shop(paper_language="de")
    customer_of(change.quote.job).send("change yes", who="Ada")
    told = posted()
    for letter in told.values():
        assert [w for w in ENGLISH if w in f"{letter.subject}\n{letter.text}"] == []
    assert "Zusatzarbeiten: 1" in lines(told[ADA])
