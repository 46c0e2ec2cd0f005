"""The desk makes and revokes links, and turns its screen to the customer."""

import re
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from billing.changes import actions as changes
from billing.changes.models import ChangeAnswer
from billing.customer_page.models import Signature
from billing.quotes.models import Link, Quote
from tests import make
from tests.billing import till
from tests.billing.changes.test_change_order import record
from tests.billing.customer_page.conftest import boxes, customer_of
from tests.papers import words_of

INK = "M10 20L30 40L50 60"


def made(desk, job):
    page = desk.post(reverse("customer_links:for_job", args=[job.pk]))
    assert page.status_code == 200
    return page


def test_a_link_is_shown_once_with_its_code_and_a_letter(desk, quote):
    quote.job.customer.email = "ada@fenwick.example"
    quote.job.customer.save()
    page = made(desk, quote.job)
    html = page.content.decode()
    address = re.search(r"readonly>([^<]+)<", html)[1]
    assert address.startswith("http://testserver/q/")
    assert "QR code of the customer link" in html and "<path" in html
    mail = urlsplit(page.context["mail"])
    assert (mail.scheme, unquote(mail.path)) == ("mailto", "ada@fenwick.example")
    assert address in parse_qs(mail.query)["body"][0]
    assert Client().get(urlsplit(address).path).status_code == 200
    token = urlsplit(address).path.split("/")[2]
    again = desk.get(
        reverse("customer_links:for_job", args=[quote.job_id])
    ).content.decode()
    assert token not in again and "Links of this job" in again
    assert Link.objects.get().made_by.role == "counter"


def test_the_address_is_the_one_that_customers_use(desk, quote, settings):
    settings.PUBLIC_URL = "https://repairs.example/"
    address = made(desk, quote.job).context["address"]
    assert address.startswith("https://repairs.example/q/")


def test_a_forged_host_makes_no_link(desk, quote):
    page = desk.post(
        reverse("customer_links:for_job", args=[quote.job_id]), HTTP_HOST="evil.example"
    )
    assert page.status_code == 400 and not Link.objects.exists()


def test_a_desk_opened_on_its_own_machine_says_that_the_link_works_there_only(
    desk, quote
):
    where = reverse("customer_links:for_job", args=[quote.job_id])
    page = desk.post(where, HTTP_HOST="127.0.0.1:8000").content.decode()
    assert "works on this machine only" in page
    assert "works on this machine only" not in made(desk, quote.job).content.decode()


def test_without_a_mail_address_there_is_no_letter(desk, quote):
    page = made(desk, quote.job).content.decode()
    assert "mailto:?" not in page and "No email address" in page


def test_a_revoked_link_opens_nothing_and_others_still_do(desk, customer):
    other = customer_of(customer.link.job)
    for _ in range(2):
        desk.post(reverse("customer_links:revoke", args=[customer.link.pk]))
    assert customer.read().status_code == 404
    assert other.read().status_code == 200
    page = desk.get(reverse("customer_links:for_job", args=[customer.link.job_id]))
    assert "revoked" in page.content.decode()


def test_the_list_asks_no_more_for_more_links(desk, quote):
    counts = []
    for n in (1, 30):
        for _ in range(n):
            customer_of(quote.job)
        with CaptureQueriesContext(connection) as asked:
            desk.get(reverse("customer_links:for_job", args=[quote.job_id]))
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_a_link_is_printed_on_the_quote_when_it_is_sent_with_one(desk, shop):
    draft, plain = till.drafted(), till.drafted()
    desk.post(reverse("quotes:send", args=[draft.pk]), {"with_link": "yes"})
    desk.post(reverse("quotes:send", args=[plain.pk]))
    assert "/q/" not in words_of(Quote.objects.get(pk=plain.pk).pdf)
    words = words_of(Quote.objects.get(pk=draft.pk).pdf)
    address = re.search(r"http://testserver(/q/[\w-]{43}/)", words.replace(" ", ""))[1]
    page = Client().get(address)
    assert page.status_code == 200 and draft.job.number in page.content.decode()
    assert Link.objects.get().job == draft.job


def test_a_quote_that_can_not_be_sent_makes_no_link(desk, shop):
    draft = till.drafted()
    draft.options.all().delete()
    desk.post(reverse("quotes:send", args=[draft.pk]), {"with_link": "yes"})
    assert not Link.objects.exists() and Quote.objects.get().state == "draft"


# --- the screen turned to the customer ----------------------------------------


def sign(desk, quote, answer="yes", **typed):
    where = reverse("customer_links:sign_here", args=[quote.job_id])
    prefix = answer.split()[0]
    sent = boxes(desk.get(where), prefix) | {"answer": answer}
    sent |= {f"{prefix}-{name}": value for name, value in typed.items()}
    return desk.post(where, sent)


def test_the_screen_shows_the_customers_page_and_no_link_to_the_desk(desk, quote):
    page = desk.get(reverse("customer_links:sign_here", args=[quote.job_id]))
    html = page.content.decode()
    assert "Order with obligation to pay" in html and 'class="bar"' not in html
    links = set(re.findall(r'<a [^>]*href="(/[^"]*)"', html))
    assert links == {reverse("quotes:for_job", args=[quote.job_id])}
    assert "mailto:" not in html and "tel:" not in html


def test_a_yes_on_the_screen_is_kept_with_its_signature(desk, quote):
    answer = sign(desk, quote, who="Ada Fenwick", ink=INK)
    assert answer.status_code == 303
    quote.refresh_from_db()
    assert (quote.state, quote.answered_how, quote.answered_by) == (
        "accepted",
        "screen",
        "Ada Fenwick",
    )
    assert quote.signature.ink == INK
    assert quote.job.transitions.last().by.role == "counter"
    after = desk.get(answer.url).content.decode()
    assert "Please return the screen" in after
    record_page = desk.get(quote.get_absolute_url()).content.decode()
    assert f'd="{INK}"' in record_page and "Signature of Ada Fenwick" in record_page


def test_the_name_alone_is_enough(desk, quote):
    assert sign(desk, quote, who="Ada").status_code == 303
    assert not Signature.objects.exists()
    assert Quote.objects.get().state == "accepted"


@pytest.mark.parametrize("ink", ['M1 1"/><script>', "M900 1", "x" * 9000, "M1 1Z"])
def test_what_is_no_drawing_is_refused_and_nothing_is_agreed(desk, quote, ink):
    page = sign(desk, quote, who="Ada", ink=ink)
    assert page.status_code == 200
    assert "could not be read" in page.content.decode()
    assert Quote.objects.get().state == "sent" and not Signature.objects.exists()


def test_a_no_on_the_screen(desk, quote):
    assert sign(desk, quote, "no", who="Ada", why="Too expensive").status_code == 303
    assert Quote.objects.get().answered_how == "screen"


def test_by_the_link_no_drawing_is_taken(customer):
    customer.send("yes", who="Ada", ink=INK)
    assert not Signature.objects.exists()


def test_a_signature_is_never_changed(desk, quote):
    sign(desk, quote, who="Ada", ink=INK)
    with pytest.raises(DatabaseError), transaction.atomic():
        Signature.objects.update(ink="M1 1")
    assert Signature.objects.get().ink == INK


# --- a change of what was agreed ----------------------------------------------


@pytest.fixture
def changed(shop):
    return record(till.accepted().job)


def test_the_customer_agrees_to_a_change_by_the_link(changed):
    customer = customer_of(changed.quote.job)
    page = customer.read()
    html = page.content.decode()
    assert "Extra work needed" in html
    assert changed.why in html and f"€{changed.new_total}" in html
    assert customer.send("change yes", page, who="Ada").status_code == 303
    kept = ChangeAnswer.objects.get()
    assert (kept.decision, kept.who, kept.how, kept.recorded_by) == (
        "yes",
        "Ada",
        "link",
        None,
    )
    changed.quote.job.refresh_from_db()
    assert changed.quote.job.waiting_for == ""
    html = customer.read().content.decode()
    assert (
        "Extra work needed" not in html and f"New total: €{changed.new_total}" in html
    )
    # The same form sent once more finds nothing to agree to.
    assert customer.send("change yes", page, who="Ada").status_code == 409
    assert ChangeAnswer.objects.count() == 1


def test_the_customer_refuses_a_change_on_the_counters_screen(desk, changed):
    assert sign(desk, changed.quote, "change no", who="Ada").status_code == 303
    kept = ChangeAnswer.objects.get()
    assert (kept.decision, kept.how, kept.recorded_by.role) == (
        "no",
        "screen",
        "counter",
    )


def test_a_change_that_was_taken_back_while_the_customer_reads_is_not_agreed(changed):
    customer = customer_of(changed.quote.job)
    page = customer.read()
    changes.withdraw(changed, stamp=make.stamp())
    second = record(changed.quote.job, why="Another thing.")
    answer = customer.send("change yes", page, who="Ada")
    assert answer.status_code == 409
    assert "Nothing was ordered now" in answer.content.decode()
    assert "Another thing." in answer.content.decode() and second.is_open


def test_a_change_without_a_name_is_not_agreed(changed):
    customer = customer_of(changed.quote.job)
    page = customer.send("change yes", who="")
    assert page.status_code == 200
    assert "Your name: This field is required" in page.content.decode()
    assert not ChangeAnswer.objects.exists()


def test_the_bench_may_turn_its_screen_too(client, quote):
    client.force_login(make.user("bench"))
    where = reverse("customer_links:sign_here", args=[quote.job_id])
    assert client.get(where).status_code == 200
