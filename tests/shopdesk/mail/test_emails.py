"""Emails are stored with what they report, sent once, and never lost in silence."""

import email
import socket
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from shopdesk.errors import EmailError
from shopdesk.mail.actions import send_due, write
from shopdesk.mail.models import CLAIM_TIMEOUT, RETRY_MINUTES, Email
from shopdesk.stamp import Stamp
from tests import make
from tests.shopdesk.mail.post_office import open_office

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 5, 12, tzinfo=UTC)


def write_email(
    to="ada@fenwick.example", subject="Your quote", text="Here it is.", **more
):
    return write(to, subject=subject, text=text, stamp=Stamp(NOON), **more)


def send(at=NOON):
    make.shop(email="desk@spark.example")
    return list(send_due(clock=lambda: at))


def test_an_email_is_sent_with_its_attachments(settings):
    write_email(
        text="Grüße, 日本", attachments=[("quote.pdf", "application/pdf", b"%PDF-1")]
    )
    with open_office(settings) as office:
        (sent,) = send()
    assert sent.status == "sent" and (sent.sent_at, sent.attempt_count) == (NOON, 1)
    (got,) = map(email.message_from_bytes, office.got)
    assert (got["To"], got["From"]) == ("ada@fenwick.example", "desk@spark.example")
    text, paper = got.get_payload()
    assert text.get_payload(decode=True).decode().strip() == "Grüße, 日本"
    assert paper.get_filename() == "quote.pdf"
    assert paper.get_payload(decode=True) == b"%PDF-1"


def test_what_was_sent_is_not_sent_again(settings):
    write_email()
    with open_office(settings) as office:
        send()
        assert send(NOON + timedelta(days=1)) == []
    assert len(office.got) == 1


def test_an_email_is_stored_with_what_it_reports_or_not_at_all():
    with pytest.raises(RuntimeError), transaction.atomic():
        write_email()
        raise RuntimeError
    assert not Email.objects.exists()


@pytest.mark.parametrize(
    "to",
    ["", "ada", "ada@", "a@b.example\nBcc: all@b.example", "a@b.example, c@d.example"],
)
def test_an_invalid_address_is_refused_in_a_sentence(to):
    with pytest.raises(EmailError, match="email address"):
        write_email(to=to)
    assert not Email.objects.exists()


def test_a_subject_cannot_add_a_header(settings):
    write_email(subject="Quote\r\nBcc: all@b.example")
    with open_office(settings) as office:
        send()
    (got,) = map(email.message_from_bytes, office.got)
    assert got["Subject"] == "Quote Bcc: all@b.example" and got["Bcc"] is None


def test_attachments_that_are_too_large_are_refused():
    with pytest.raises(EmailError, match="too large"):
        write_email(attachments=[("a.pdf", "application/pdf", bytes(15_000_001))])


def closed_port(settings):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        settings.EMAIL_PORT = free.getsockname()[1]
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"


def test_a_server_that_is_down_is_tried_again_and_given_up_in_the_end(settings):
    closed_port(settings)
    write_email()
    at, waits = NOON, []
    while send(at):
        one = Email.objects.get()
        assert "is not reachable" in one.last_error
        if one.next_try_at is None:
            break
        waits.append((one.next_try_at - at).total_seconds() / 60)
        assert send(one.next_try_at - timedelta(seconds=1)) == []
        at = one.next_try_at
    assert waits == list(RETRY_MINUTES)
    assert one.status == "failed" and one.attempt_count == len(RETRY_MINUTES) + 1
    assert one.resend(NOON) and Email.objects.get().status == "waiting"


@pytest.mark.parametrize(
    ("refuses", "status"),
    [("550 no such person", "failed"), ("451 come back later", "waiting")],
)
def test_the_answer_of_the_server_is_stored(settings, refuses, status):
    write_email()
    with open_office(settings, refuses=refuses):
        (one,) = send()
    assert one.status == status and refuses[4:] in one.last_error


def test_a_sender_that_died_leaves_its_email_to_the_next(settings):
    assert write_email().claim(NOON)
    assert not Email.objects.due(NOON + CLAIM_TIMEOUT - timedelta(seconds=1)).exists()
    with open_office(settings) as office:
        (one,) = send(NOON + CLAIM_TIMEOUT)
    assert one.status == "sent" and len(office.got) == 1


def test_an_email_that_may_have_arrived_keeps_its_message_id(settings):
    """A connection lost after sending: it goes twice at worst, with the same id."""
    write_email()
    with open_office(settings, hangs_up=True) as office:
        send()
        office.hangs_up = False
        send(NOON + timedelta(minutes=1))
    first, again = map(email.message_from_bytes, office.got)
    assert first["Message-ID"] == again["Message-ID"]
    assert Email.objects.get().status == "sent"


def test_of_two_senders_one_has_the_write_email():
    write_email()
    one, other = Email.objects.get(), Email.objects.get()
    assert one.claim(NOON) and not other.claim(NOON)


def test_without_an_address_of_its_own_the_shop_sends_nothing():
    write_email()
    make.shop(email="")
    (one,) = send_due(clock=lambda: NOON)
    assert one.status == "waiting" and "The shop has no email address" in one.last_error


def test_the_command_needs_a_mail_server(settings):
    settings.MAIL_URL = ""
    write_email()
    with pytest.raises(CommandError, match="Set MAIL_URL.* Emails waiting: 1"):
        call_command("send_post")
    assert Email.objects.get().attempt_count == 0


def test_the_command_says_what_it_did(settings, capsys):
    make.shop(email="desk@spark.example")
    write_email()
    with open_office(settings):
        call_command("send_post")
    assert capsys.readouterr().out == "sent: Your quote\n"


# --- the pages ----------------------------------------------------------------


@pytest.fixture
def desk(client):
    client.force_login(make.user(role="counter"))
    return client


def test_the_outbox_lists_emails_by_status(desk):
    write_email(subject="First")
    write_email(subject="Second").discard(NOON)
    page = desk.get("/post/").content.decode()
    assert "First" in page and "Second" in page and "No mail server is set up" in page
    page = desk.get("/post/?which=discarded").content.decode()
    assert "First" not in page and "Second" in page
    assert "First" in desk.get("/post/?which=rubbish").content.decode()


def test_the_outbox_begins_with_the_latest(desk):
    first, second, third = write_email(), write_email(), write_email()
    second.discard(NOON)
    second.refresh_from_db()
    first.mark_sent(NOON)
    rows = desk.get("/post/").context["table"].rows
    assert [row.record for row in rows] == [third, second, first]


def test_an_email_is_discarded_or_sent_again_from_its_page(desk):
    one = write_email(
        text="<b>bold</b>", attachments=[("q.pdf", "application/pdf", b"x")]
    )
    page = desk.get(one.get_absolute_url()).content.decode()
    assert "&lt;b&gt;bold" in page and "q.pdf" in page
    answer = desk.get(f"/post/papers/{one.attachments.get().pk}/")
    assert answer.content == b"x" and "attachment" in answer["Content-Disposition"]
    desk.post(f"/post/{one.pk}/drop/")
    page = desk.post(f"/post/{one.pk}/resend/", follow=True).content.decode()
    assert "This email is already discarded" in page


def test_the_list_asks_as_much_for_thirty_as_for_one(
    desk, django_assert_num_queries, django_assert_max_num_queries
):
    write_email()
    with django_assert_max_num_queries(20) as asked:
        desk.get("/post/")
    for _ in range(29):
        write_email(attachments=[("q.pdf", "application/pdf", b"x")])
    with django_assert_num_queries(len(asked)):
        desk.get("/post/")
