"""A form that is sent again acts once, and its sender gets the first response."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from repairs.jobs import states
from repairs.jobs.models import Labour, PartUsed, Reading
from repairs.stock.models import Part
from shopdesk.errors import RefusedError
from shopdesk.mail.models import Email
from shopdesk.sent_forms import middleware
from shopdesk.sent_forms.attempts import attempt
from shopdesk.sent_forms.models import KEPT, SentForm
from shopdesk.staff.models import Role, User
from tests import make
from tests.at_once import all_at_once

TEMPLATES = Path(__file__).parents[3] / "templates"
KEY = {"form_key": "one-key-of-a-page"}
HTMX = {"HX-Request": "true"}


@pytest.fixture
def me():
    return make.user(Role.OWNER)


@pytest.fixture
def bench(client, me):
    client.force_login(me)
    return client


def working():
    fault = make.fault()
    job = make.job(state=states.APPROVED)
    return make.repair(job, fault, fix=make.fix(fault)).job


def url(job, verb):
    return f"{job.get_absolute_url()}{verb}/"


def minutes(job):
    return {"minutes-minutes": "25", "minutes-repair": job.repairs.get().pk} | KEY


def test_every_form_that_changes_something_carries_a_key():
    """Signing in and out may be repeated; kept entries bring the key they had."""
    bare = {
        path.relative_to(TEMPLATES).as_posix()
        for path in TEMPLATES.rglob("*.html")
        for form in re.findall(
            r'<form\b[^>]*method="post".*?</form>', path.read_text(), re.DOTALL
        )
        if "{% form_token" not in form and "_version.html" not in form
    }
    assert bare == {
        "500.html",
        "page.html",
        "shopdesk/staff/code.html",
        "shopdesk/staff/confirm.html",
        "shopdesk/staff/kept.html",
        "shopdesk/staff/password.html",
        "shopdesk/staff/set_up.html",
        "shopdesk/staff/sign_in.html",
    }
    version = (TEMPLATES / "repairs/bench/_version.html").read_text()
    assert "{% form_token" in version


@pytest.mark.django_db
@pytest.mark.parametrize("headers", [None, HTMX])
def test_a_form_sent_again_gets_the_first_response(bench, headers):
    job = working()
    sent = minutes(job)
    first = bench.post(url(job, "book_minutes"), sent, headers=headers)
    again = bench.post(url(job, "book_minutes"), sent, headers=headers)
    assert Labour.objects.count() == 1
    assert (again.status_code, again.content) == (first.status_code, first.content)
    assert again.headers.get("Location") == first.headers.get("Location")


@pytest.mark.django_db
def test_the_first_messages_are_shown_again(bench):
    waiting = Email.objects.create(
        to="ada@example.org", subject="Ready", text="It is.", written_at=timezone.now()
    )
    page = f"{waiting.get_absolute_url()}drop/"
    assert bench.post(page, KEY).status_code == 302
    again = bench.post(page, KEY, follow=True).text
    assert "Discarded." in again and "already" not in again


@pytest.mark.django_db
def test_the_same_key_with_other_entries_saves_nothing_and_shows_them(bench):
    job = working()
    bench.post(url(job, "book_minutes"), minutes(job))
    other = minutes(job) | {"minutes-minutes": "40"}
    answer = bench.post(url(job, "book_minutes"), other)
    assert answer.status_code == 409
    assert '<dd class="keep">40</dd>' in answer.text
    by_htmx = bench.post(url(job, "book_minutes"), other, headers=HTMX)
    assert by_htmx.status_code == 200 and by_htmx.headers["HX-Retarget"] == "body"
    assert Labour.objects.get().minutes == 25


@pytest.mark.django_db
def test_nobody_else_gets_the_response(bench, client):
    job = working()
    bench.post(url(job, "book_minutes"), minutes(job))
    other = Client()
    other.force_login(make.user(Role.OWNER))
    assert other.post(url(job, "book_minutes"), minutes(job)).status_code == 409


@pytest.mark.django_db
def test_a_refused_form_may_be_corrected_under_its_key(bench):
    job = working()
    wrong = minutes(job) | {"minutes-minutes": "-4"}
    assert bench.post(url(job, "book_minutes"), wrong).status_code == 200
    assert not SentForm.objects.exists()
    bench.post(url(job, "book_minutes"), minutes(job))
    assert Labour.objects.get().minutes == 25


@pytest.mark.django_db
def test_a_form_whose_server_died_after_saving_is_not_saved_again(bench, monkeypatch):
    job = working()
    monkeypatch.setattr(middleware, "WAIT", 0.1)
    bench.post(url(job, "book_minutes"), minutes(job))
    SentForm.objects.update(response=None)
    referer = {"Referer": f"http://testserver{job.get_absolute_url()}"}
    again = bench.post(
        url(job, "book_minutes"), minutes(job), headers=referer, follow=True
    )
    assert again.redirect_chain[0][0] == job.get_absolute_url()
    assert "This form was already saved. It was not saved twice." in again.text
    assert Labour.objects.count() == 1


@pytest.mark.django_db
def test_what_is_kept_cannot_be_read_without_the_key_and_not_for_long(bench, me):
    member = make.user(Role.BENCH)
    page = f"{member.get_absolute_url()}reset/"
    shown = bench.post(page, KEY)
    passphrase = shown.context["passphrase"]
    assert passphrase in bench.post(page, KEY).text
    stored = SentForm.objects.get()
    assert passphrase.encode() not in bytes(stored.response)
    assert KEY["form_key"] not in stored.key_hash
    later = timezone.now() + KEPT + timedelta(minutes=1)
    assert SentForm.objects.forget_old(at=later) == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("verb", ["book_minutes", "reading", "part"])
def test_four_at_once_act_once(verb):
    me = make.user(Role.OWNER)
    job = working()
    part = make.part(number="P-1", on_hand=9)
    sent = {
        "book_minutes": minutes(job),
        "reading": {
            "reading-test_point": "5 V",
            "reading-value": "4.9",
            "reading-stage": "before",
        }
        | KEY,
        "part": {
            "part-part": "P-1",
            "part-quantity": "2",
            "part-repair": job.repairs.get().pk,
        }
        | KEY,
    }[verb]
    answers = []

    def send():
        browser = Client()
        browser.force_login(me)
        answers.append(browser.post(url(job, verb), sent))

    assert all_at_once(*[send] * 4) == []
    assert {answer.status_code for answer in answers} == {302}
    done = {"book_minutes": Labour, "reading": Reading, "part": PartUsed}[verb]
    assert done.objects.count() == 1
    assert Part.objects.get(pk=part.pk).on_hand == (7 if verb == "part" else 9)


@pytest.mark.django_db
def test_a_refusal_leaves_neither_the_change_nor_the_key(bench, rf, me):
    def rename_and_refuse():
        User.objects.filter(pk=me.pk).update(name="Changed")
        raise RefusedError("No.")

    request = rf.post("/", KEY)
    request.user = me
    request._messages = type("Nobody", (), {"add": lambda *facts: None})()
    assert not attempt(request, None, rename_and_refuse)
    assert User.objects.get(pk=me.pk).name == me.name
    assert not SentForm.objects.exists()


@pytest.mark.django_db
def test_a_short_secret_can_not_be_found_from_the_stored_hash(bench):
    """The same entries under another key give another hash."""
    job = working()
    for key in ("one-key", "another-key"):
        bench.post(url(job, "book_minutes"), minutes(job) | {"form_key": key})
    hashes = SentForm.objects.values_list("content_hash", flat=True)
    assert len(set(hashes)) == 2
