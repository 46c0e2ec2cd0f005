"""Letters are written with what they tell, sent once, and never lost in silence."""

import email
import socket
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from shopdesk.mail.actions import Unsendable, send_due, write
from shopdesk.mail.models import Email
from shopdesk.mail.pauses import LEASE, MINUTES
from tests import make
from tests.shopdesk.mail.post_office import open_office

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 5, 12, tzinfo=UTC)


def letter(to="ada@fenwick.example", subject="Your quote", text="Here it is.", **more):
    return write(to, subject=subject, text=text, at=NOON, by=None, **more)


def send(at=NOON):
    make.shop(email="desk@spark.example")
    return list(send_due(clock=lambda: at))


def test_a_letter_goes_out_with_its_papers(settings):
    letter(
        text="Grüße, 日本", attachments=[("quote.pdf", "application/pdf", b"%PDF-1")]
    )
    with open_office(settings) as office:
        (sent,) = send()
    assert sent.standing == "sent" and (sent.sent_at, sent.tries) == (NOON, 1)
    (got,) = map(email.message_from_bytes, office.got)
    assert (got["To"], got["From"]) == ("ada@fenwick.example", "desk@spark.example")
    text, paper = got.get_payload()
    assert text.get_payload(decode=True).decode().strip() == "Grüße, 日本"
    assert paper.get_filename() == "quote.pdf"
    assert paper.get_payload(decode=True) == b"%PDF-1"


def test_what_was_sent_is_not_sent_again(settings):
    letter()
    with open_office(settings) as office:
        send()
        assert send(NOON + timedelta(days=1)) == []
    assert len(office.got) == 1


def test_a_letter_goes_with_what_it_tells_or_not_at_all():
    with pytest.raises(RuntimeError), transaction.atomic():
        letter()
        raise RuntimeError
    assert not Email.objects.exists()


@pytest.mark.parametrize(
    "to",
    ["", "ada", "ada@", "a@b.example\nBcc: all@b.example", "a@b.example, c@d.example"],
)
def test_an_address_that_is_none_is_refused_in_a_sentence(to):
    with pytest.raises(Unsendable, match="mail address"):
        letter(to=to)
    assert not Email.objects.exists()


def test_a_subject_can_add_no_head_of_its_own(settings):
    letter(subject="Quote\r\nBcc: all@b.example")
    with open_office(settings) as office:
        send()
    (got,) = map(email.message_from_bytes, office.got)
    assert got["Subject"] == "Quote Bcc: all@b.example" and got["Bcc"] is None


def test_papers_too_large_to_arrive_are_refused():
    with pytest.raises(Unsendable, match="too large"):
        letter(attachments=[("a.pdf", "application/pdf", bytes(15_000_001))])


def closed_port(settings):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        settings.EMAIL_PORT = free.getsockname()[1]
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"


def test_a_server_that_is_down_is_tried_again_and_given_up_in_the_end(settings):
    closed_port(settings)
    letter()
    at, waits = NOON, []
    while send(at):
        one = Email.objects.get()
        assert "can’t be reached" in one.said
        if one.next_try_at is None:
            break
        waits.append((one.next_try_at - at).total_seconds() / 60)
        assert send(one.next_try_at - timedelta(seconds=1)) == []
        at = one.next_try_at
    assert waits == list(MINUTES)
    assert one.standing == "stuck" and one.tries == len(MINUTES) + 1
    assert one.resend(NOON) and Email.objects.get().standing == "waiting"


@pytest.mark.parametrize(
    ("refuses", "standing"),
    [("550 no such person", "stuck"), ("451 come back later", "waiting")],
)
def test_what_a_server_answers_is_kept(settings, refuses, standing):
    letter()
    with open_office(settings, refuses=refuses):
        (one,) = send()
    assert one.standing == standing and refuses[4:] in one.said


def test_a_sender_that_died_leaves_its_letter_to_the_next(settings):
    assert letter().claim(NOON)
    assert not Email.objects.due(NOON + LEASE - timedelta(seconds=1)).exists()
    with open_office(settings) as office:
        (one,) = send(NOON + LEASE)
    assert one.standing == "sent" and len(office.got) == 1


def test_a_letter_that_may_have_arrived_keeps_its_name(settings):
    """A line cut after the letter: it goes twice at worst, told apart by nobody."""
    letter()
    with open_office(settings, hangs_up=True) as office:
        send()
        office.hangs_up = False
        send(NOON + timedelta(minutes=1))
    first, again = map(email.message_from_bytes, office.got)
    assert first["Message-ID"] == again["Message-ID"]
    assert Email.objects.get().standing == "sent"


def test_of_two_senders_one_has_the_letter():
    letter()
    one, other = Email.objects.get(), Email.objects.get()
    assert one.claim(NOON) and not other.claim(NOON)


def test_without_an_address_of_its_own_the_shop_sends_nothing():
    letter()
    make.shop(email="")
    (one,) = send_due(clock=lambda: NOON)
    assert one.standing == "waiting" and "The shop has no mail address" in one.said


def test_the_command_needs_a_mail_server(settings):
    settings.MAIL_URL = ""
    letter()
    with pytest.raises(CommandError, match="set MAIL_URL.* 1 letters wait"):
        call_command("send_post")
    assert Email.objects.get().tries == 0


def test_the_command_says_what_it_did(settings, capsys):
    make.shop(email="desk@spark.example")
    letter()
    with open_office(settings):
        call_command("send_post")
    assert capsys.readouterr().out == "sent: Your quote\n"


# --- the pages ----------------------------------------------------------------


@pytest.fixture
def desk(client):
    client.force_login(make.user(kind="counter"))
    return client


def test_the_outbox_lists_what_stands_how(desk):
    letter(subject="First")
    letter(subject="Second").drop(NOON)
    page = desk.get("/post/").content.decode()
    assert "First" in page and "Second" in page and "No mail server is named" in page
    page = desk.get("/post/?which=dropped").content.decode()
    assert "First" not in page and "Second" in page
    assert "First" in desk.get("/post/?which=rubbish").content.decode()


def test_the_outbox_begins_with_the_latest(desk):
    first, second, third = letter(), letter(), letter()
    second.drop(NOON)
    second.refresh_from_db()
    first.is_sent(NOON)
    rows = desk.get("/post/").context["table"].rows
    assert [row.record for row in rows] == [third, second, first]


def test_a_letter_is_dropped_or_sent_again_from_its_page(desk):
    one = letter(text="<b>bold</b>", attachments=[("q.pdf", "application/pdf", b"x")])
    page = desk.get(one.get_absolute_url()).content.decode()
    assert "&lt;b&gt;bold" in page and "q.pdf" in page
    answer = desk.get(f"/post/papers/{one.attachments.get().pk}/")
    assert answer.content == b"x" and "attachment" in answer["Content-Disposition"]
    desk.post(f"/post/{one.pk}/drop/")
    page = desk.post(f"/post/{one.pk}/resend/", follow=True).content.decode()
    assert "This letter is dropped already" in page


def test_the_list_asks_as_much_for_thirty_as_for_one(
    desk, django_assert_num_queries, django_assert_max_num_queries
):
    letter()
    with django_assert_max_num_queries(20) as asked:
        desk.get("/post/")
    for _ in range(29):
        letter(attachments=[("q.pdf", "application/pdf", b"x")])
    with django_assert_num_queries(len(asked)):
        desk.get("/post/")
