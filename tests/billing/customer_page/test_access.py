"""What a link opens, to whom, how often, and what it leaves behind."""

import logging
import re
import statistics
import sys
from datetime import timedelta
from time import process_time

import pytest
import time_machine
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from billing.customer_page import actions
from billing.customer_page.log_masking import masked
from billing.invoices.models import Invoice
from billing.quotes.links import create_link
from billing.quotes.models import Link
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.staff.link_tokens import hash_of
from shopdesk.staff.models import RequestCount
from tests import make
from tests.billing import till
from tests.billing.customer_page.conftest import boxes, customer_of


def everything():
    """Every row of every table but the count of views and requests, as one text."""
    told = []
    with connection.cursor() as cursor:
        for table in sorted(connection.introspection.table_names()):
            if table == RequestCount._meta.db_table:
                continue
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            names = [column[0] for column in cursor.description]
            for row in cursor.fetchall():
                kept = dict(zip(names, row, strict=True))
                if table == "billing_link":
                    del kept["views"], kept["viewed_at"]
                told.append(f"{table} {kept}")
    return "\n".join(sorted(told))


# --- the token ----------------------------------------------------------------


def test_a_token_has_256_random_bits_and_is_kept_nowhere(customer):
    assert re.fullmatch(r"[A-Za-z0-9_-]{43}", customer.token)
    customer.read()
    assert customer.token not in everything()
    other = customer_of(customer.link.job)
    assert other.token != customer.token


def test_a_new_link_leaves_the_old_one_working(customer):
    customer_of(customer.link.job)
    assert customer.read().status_code == 200


def wrong(customer, quote):
    """Every way in which a link opens nothing, with its address."""
    token = customer.token
    now, today, by = timezone.now(), timezone.localdate(), None

    def another():
        return customer_of(quote.job)

    expired, revoked, elsewhere = another(), another(), another()
    expired.link.works_until = today - timedelta(days=1)
    Link.objects.bulk_create(
        [
            Link(
                job=quote.job,
                token_hash=hash_of("x" * 43),
                works_until=today - timedelta(days=1),
                made_at=now,
            ),
        ]
    )
    actions.revoke(revoked.link, stamp=make.stamp(by=by))
    assert elsewhere.read().status_code == 200
    return {
        "altered": token[:-1] + ("A" if token[-1] != "A" else "B"),
        "case": token.swapcase(),
        "short": token[:-1],
        "long": token + "A",
        "unknown": "z" * 43,
        "expired": "x" * 43,
        "revoked": revoked.token,
        "hash itself": customer.link.token_hash,
    }


def test_wrong_altered_expired_and_revoked_links_are_answered_alike(customer, quote):
    pages = {}
    for what, token in wrong(customer, quote).items():
        for method in ("get", "post"):
            RequestCount.objects.all().delete()
            answer = getattr(Client(), method)(f"/q/{token}/")
            pages[what, method] = (answer.status_code, answer.content)
            assert answer["Referrer-Policy"] == "no-referrer"
            assert "no-store" in answer["Cache-Control"]
    assert len(set(pages.values())) == 1
    status, content = next(iter(pages.values()))
    assert status == 404 and b"This link is not valid" in content
    assert b"Please ask us for a new link" in content and b"+44" in content


def test_they_are_answered_in_the_same_time(customer, quote):
    tokens = list(wrong(customer, quote).values())
    client, took = Client(), {token: [] for token in tokens}
    for _ in range(25):
        for token in tokens:
            RequestCount.objects.all().delete()
            began = process_time()  # ours only, whatever else the machine has to do
            client.get(f"/q/{token}/")
            took[token].append(process_time() - began)
    middle = [statistics.median(times) for times in took.values()]
    assert max(middle) < 1.5 * min(middle)


def test_each_asks_the_database_the_same(customer, quote, django_assert_num_queries):
    client = Client()
    client.get("/q/warm/")
    for token in wrong(customer, quote).values():
        with django_assert_num_queries(5):  # the link, three of the request, the shop
            client.get(f"/q/{token}/")
        RequestCount.objects.update(count=1)


def test_on_its_last_day_it_works_and_on_the_next_it_does_not(customer):
    last = customer.link.works_until
    assert last == timezone.localdate() + timedelta(days=90)
    now = timezone.now()
    with time_machine.travel(now + timedelta(days=90), tick=False):
        assert customer.read().status_code == 200
    with time_machine.travel(now + timedelta(days=91), tick=False):
        assert customer.read().status_code == 404


def test_a_token_opens_its_own_job_only(customer, shop):
    other = till.sent(on=timezone.localdate())
    sent = boxes(customer.read(), "yes") | {"yes-who": "Ada", "answer": "yes"}
    sent["yes-option"] = other.options.first().pk
    page = customer.client.post(customer.where, sent)
    assert page.status_code == 200 and "Select a valid choice" in page.content.decode()
    other.refresh_from_db()
    assert other.state == "sent" and other.job.number not in page.content.decode()


def test_the_database_refuses_to_alter_a_link_or_to_undo_a_revoking(customer):
    actions.revoke(customer.link, stamp=make.stamp())
    later = customer.link.works_until + timedelta(days=900)
    for change in (
        {"revoked_at": None},
        {"works_until": later},
        {"token_hash": "0" * 64},
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            Link.objects.update(**change)
    assert customer.read().status_code == 404


# --- reading changes nothing --------------------------------------------------


def test_fifty_looks_and_a_head_change_nothing_but_the_count(customer):
    before = everything()
    for _ in range(50):
        assert customer.read().status_code == 200
    assert customer.client.head(customer.where).status_code == 200
    assert customer.client.get(f"{customer.where}quote.pdf").status_code == 200
    assert everything() == before
    customer.link.refresh_from_db()
    assert customer.link.views == 50


@pytest.mark.parametrize("method", ["put", "patch", "delete", "options", "trace"])
def test_other_methods_are_refused(customer, method):
    assert getattr(customer.client, method)(customer.where).status_code == 405


def test_headers_keep_the_page_out_of_caches_referrers_and_indexes(customer):
    for where in (customer.where, f"{customer.where}quote.pdf", "/q/nothing/"):
        answer = customer.client.get(where)
        assert "no-store" in answer["Cache-Control"]
        assert "no-referrer" in answer["Referrer-Policy"]
        assert answer["X-Robots-Tag"] == "noindex, nofollow"
        assert answer["X-Frame-Options"] == "DENY"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert "default-src 'self'" in answer["Content-Security-Policy"]


def test_the_page_asks_nobody_else_for_anything(customer):
    page = customer.read().content.decode()
    loaded = re.findall(r"<(?:script|img|link|iframe|form)\b[^>]*", page)
    addresses = re.findall(r'(?:src|href|action)="([^"]+)"', " ".join(loaded))
    assert addresses and all(a.startswith("/") and a[1] != "/" for a in addresses)


def test_a_forged_form_is_refused(customer, quote):
    read = customer.read()
    client = Client(enforce_csrf_checks=True)
    sent = boxes(read, "yes") | {"yes-who": "Ada", "answer": "yes"}
    assert client.post(customer.where, sent).status_code == 403
    quote.refresh_from_db()
    assert quote.state == "sent"


# --- logs ---------------------------------------------------------------------


def test_no_log_tells_a_token(customer, caplog):
    with caplog.at_level(logging.DEBUG):
        customer.read()
        for _ in range(12):
            Client().get(f"/q/{customer.token}x/")
        logging.getLogger("gunicorn.access").info(
            '%(h)s "%(r)s" %(s)s "%(f)s"',
            {
                "h": "-",
                "r": f"GET {customer.where} HTTP/1.1",
                "s": "200",
                "f": f"https://shop.example{customer.where}",
            },
        )
        logging.getLogger("anything").error("at %s", customer.where)
    assert "Not Found: /q/…/" in caplog.text  # there was something to mask
    assert customer.token not in caplog.text


def test_a_page_that_breaks_is_told_where_the_server_runs(
    customer, monkeypatch, capsys
):
    def breaks(*args, **kwargs):
        raise ZeroDivisionError(f"broke at {customer.where}")

    monkeypatch.setattr("billing.customer_page.views.render", breaks)
    [handler] = logging.getLogger("django").handlers
    monkeypatch.setattr(handler, "stream", sys.stderr)
    answer = Client(raise_request_exception=False).get(customer.where)
    assert answer.status_code == 500
    told = capsys.readouterr().err
    assert "Internal Server Error: /q/…/" in told
    assert "Traceback" in told
    assert "ZeroDivisionError: broke at /q/…/" in told
    assert customer.token not in told


@pytest.mark.parametrize(
    ("told", "seen"),
    [
        ("GET /q/abc-_1/ HTTP/1.1", "GET /q/…/ HTTP/1.1"),
        ("/q/abc/quote.pdf", "/q/…/quote.pdf"),
        ("http://shop.example/q/abc?x=1", "http://shop.example/q/…?x=1"),
        ("/quotes/12/ and /find/?q=x", "/quotes/12/ and /find/?q=x"),
    ],
)
def test_masking_cuts_the_token_and_nothing_else(told, seen):
    assert masked(told) == seen


# --- how often ----------------------------------------------------------------


def test_sixty_looks_a_minute_and_then_a_pause(customer):
    now = timezone.now()
    with time_machine.travel(now, tick=False) as clock:
        assert {customer.read().status_code for _ in range(60)} == {200}
        slow = customer.read()
        assert slow.status_code == 429 and slow["Retry-After"] == "60"
        assert "Wait 60 seconds" in slow.content.decode()
        clock.shift(59)
        assert customer.read()["Retry-After"] == "1"
        # Another page of the same address, and another address, are not slowed.
        assert customer_of(customer.link.job).read().status_code == 200
        there = Client(REMOTE_ADDR="203.0.113.9")
        assert there.get(customer.where).status_code == 200
        clock.shift(2)
        assert customer.read().status_code == 200


def test_ten_unknown_links_a_minute_and_then_a_pause(customer):
    client = Client()
    answers = [client.get(f"/q/{n}/").status_code for n in range(11)]
    assert answers == [404] * 10 + [429]
    assert int(client.get("/q/more/")["Retry-After"]) > 50
    # Who has a right link is not kept out by who guesses beside them.
    assert customer.read().status_code == 200
    assert Client(REMOTE_ADDR="203.0.113.9").get("/q/x/").status_code == 404


def test_five_answers_a_minute_and_then_a_pause(customer, quote):
    page = customer.read()
    for _ in range(5):
        assert customer.send("yes", page, who="").status_code == 200
    slow = customer.send("yes", page, who="Ada")
    assert slow.status_code == 429 and "Retry-After" in slow
    quote.refresh_from_db()
    assert quote.state == "sent"
    with time_machine.travel(timezone.now() + timedelta(seconds=61)):
        assert customer.send("yes", page, who="Ada").status_code == 303


def test_staff_are_not_slowed_nor_counted(customer, desk):
    for _ in range(70):
        assert desk.get(customer.where).status_code == 200
    customer.link.refresh_from_db()
    assert customer.link.views == 0
    assert {Client().get(f"/q/{n}/").status_code for n in range(12)} == {404, 429}
    assert desk.get("/").status_code == 200


def test_what_a_visitor_says_of_their_address_is_not_believed(customer, settings):
    def request_page(n, told):
        return Client().get(f"/q/{n}/", HTTP_X_FORWARDED_FOR=told).status_code

    said = [request_page(n, f"198.51.100.{n}") for n in range(11)]
    assert said[-1] == 429
    # Behind one proxy of ours, the last address is what the proxy saw.
    settings.PROXIES = 1
    RequestCount.objects.all().delete()
    said = [request_page(n, f"198.51.100.{n}, 203.0.113.5") for n in range(11)]
    assert said[-1] == 429
    assert request_page(1, "198.51.100.1, 203.0.113.6") == 404


def test_a_flood_is_answered_without_writing(customer):
    client = Client()
    for n in range(11):
        client.get(f"/q/{n}/")
    with CaptureQueriesContext(connection) as asked:
        assert client.get("/q/again/").status_code == 429
    assert all(query["sql"].startswith("SELECT") for query in asked)
    assert RequestCount.objects.get().count == 11


def test_no_address_is_kept(customer):
    Client(REMOTE_ADDR="203.0.113.77").get("/q/x/")
    assert RequestCount.objects.exists()
    assert all(re.fullmatch("[0-9a-f]{64}", k.key) for k in RequestCount.objects.all())


def test_old_request_counts_are_deleted(customer):
    for n in range(5):
        Client(REMOTE_ADDR=f"203.0.113.{n}").get("/q/x/")
    assert RequestCount.objects.count() == 5
    with time_machine.travel(timezone.now() + timedelta(hours=2)):
        Client(REMOTE_ADDR="203.0.113.99").get("/q/x/")
    assert RequestCount.objects.count() == 1


# --- what is told, and what is not --------------------------------------------

SECRETS = {
    "bench_notes": "The customer sounded cross",
    "condition": "Scratched, smells of smoke",
    "verified_failures": None,
}


def test_nothing_of_the_inside_is_told(shop):
    staff = make.user(name="Zebulon Quirk")
    quote = till.drafted(bench_notes=SECRETS["bench_notes"])
    quote.options.update(
        own_cost="31.17",
        rework_cost="29.13",
        comeback_allowance="7.77",
        min_price="43.21",
        list_price="47.11",
        price_reason="A friend of ours",
    )
    from billing.quotes.sending import send

    quote = send(quote, stamp=make.stamp(by=staff))
    job = quote.job
    other = till.sent(of=make.device(job.customer)).job
    link, token = create_link(job, stamp=make.stamp(by=staff))
    page = Client().get(reverse("link:page", args=[token])).content.decode()
    inside = [SECRETS["bench_notes"], "Zebulon", "A friend of ours", other.number]
    inside += ["31.17", "29.13", "7.77", "43.21", "47.11", "reserve", "margin"]
    assert [told for told in inside if told in page] == []
    assert job.number in page


@pytest.mark.parametrize(
    ("waiting", "told"),
    [
        ("parts", "Waiting for parts."),
        ("customer", "We need your answer to continue."),
    ],
)
def test_after_the_yes_the_link_tells_where_the_device_is(customer, waiting, told):
    customer.send("yes", who="Ada")
    Job.objects.filter(pk=customer.link.job_id).update(
        waiting_for=waiting, due_on=timezone.localdate() + timedelta(days=3)
    )
    page = customer.read().content.decode()
    assert told in page and "Ready by" in page


def test_ready_and_handed_over_tell_what_to_bring_what_is_left_and_the_warranty():
    quote = till.accepted()
    customer = customer_of(quote.job)
    assert "Left to pay" not in customer.read().content.decode()
    till.mend(quote.job)
    page = customer.read().content.decode()
    assert "Ready for collection" in page and "Please bring your claim slip" in page
    from billing.handover.actions import hand_over

    invoice = hand_over(
        quote.job,
        version=None,
        stamp=make.stamp(on=timezone.localdate()),
        paid=20,
        means="cash",
    )
    owed = Invoice.objects.with_balance().get(pk=invoice.pk).owed
    page = customer.read().content.decode()
    assert (
        "Handed over" in page and f"€{owed}" in page and "Repair warranty until" in page
    )


def test_a_warranty_repair_costs_nothing_and_says_so():
    job = till.warranty_job(is_repaired=False)
    workflow.approve_warranty_repair(job, stamp=make.stamp())
    page = customer_of(job).read().content.decode()
    assert "Warranty repair in progress, free of charge" in page


def test_what_the_customer_wrote_is_text_and_not_a_page(customer, quote):
    Job.objects.filter(pk=quote.job_id).update(complaint="<svg onload=x>")
    customer.send("yes", who="<script>alert(1)</script>")
    page = customer.read().content.decode()
    assert "<script>alert" not in page and "&lt;script&gt;alert(1)" in page
