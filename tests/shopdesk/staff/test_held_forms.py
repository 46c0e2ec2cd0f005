"""What somebody typed while their session ended is kept for them alone."""

import json
import re
from datetime import timedelta
from html import unescape

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.shopdesk.staff.conftest import PASSWORD

NOTE = "U12 gets hot,\r\nafter <ten> minutes"
SIGN_IN = "/staff/sign-in/"
HTMX = {"hx-request": "true"}


class Browser(Client):
    """A client that sends the token of the page it last looked at, as browsers do."""

    def __init__(self):
        super().__init__(enforce_csrf_checks=True)
        self.token = ""

    def look(self, path="/"):
        page = super().get(path)
        self.token = token_of(page)
        return page

    def send(self, path, data, **more):
        return self.post(path, data | {"csrfmiddlewaretoken": self.token}, **more)

    def sign_in(self, name, page=None, **data):
        """Fill in the sign-in page, with what is hidden in it."""
        page = page or super().get(SIGN_IN)
        data = hidden(page) | {"username": name, "password": PASSWORD} | data
        return self.post(SIGN_IN, data)


def hidden(page):
    found = re.findall(
        r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page.content.decode()
    )
    return {name: unescape(value) for name, value in found}


def token_of(page):
    return hidden(page).get("csrfmiddlewaretoken", "")


@pytest.fixture
def ben(person):
    return person("ben", Role.BENCH)


@pytest.fixture
def bench(ben):
    browser = Browser()
    browser.sign_in("ben")
    browser.look()
    return browser


@pytest.fixture
def job(db):
    return make.job()


def findings(job):
    return reverse("bench:save_findings", args=[job.pk])


def type_note(browser, job, **more):
    return browser.send(findings(job), {"findings-notes": NOTE}, **more)


def later(hours=5):
    return time_machine.travel(timezone.now() + timedelta(hours=hours))


def notes(job):
    job.refresh_from_db()
    return job.bench_notes


def send_now(browser, page):
    """Press the button of the page with the kept entries."""
    path = re.search(
        r'<form method="post" action="([^"]+)">\s*<input type="hidden"'
        r' name="csrf[^§]*Send now',
        page.content.decode(),
    )[1]
    return browser.post(unescape(path), hidden(page))


@pytest.mark.parametrize("headers", [{}, HTMX])
def test_a_note_typed_in_a_session_that_ended_is_sent_after_signing_in(
    bench, job, headers
):
    here = f"http://testserver{job.get_absolute_url()}"
    headers = headers | {"referer": here}
    with later():
        asked = type_note(bench, job, headers=headers)
        text = asked.content.decode()
        assert "Nothing was saved yet." in text and 'name="password"' in text
        assert "U12" not in text
        assert asked.status_code == (200 if "hx-request" in headers else 403)
        assert asked.get("HX-Retarget") == ("body" if "hx-request" in headers else None)
        assert notes(job) == ""
        kept = bench.sign_in("ben", asked)
        assert "Your entries were kept" in kept.content.decode()
        assert "after &lt;ten&gt; minutes" in kept.content.decode()
        assert f'href="{job.get_absolute_url()}"' in kept.content.decode()
        assert notes(job) == ""
        assert send_now(bench, kept).status_code == 302
    assert notes(job) == NOTE


def test_a_wrong_password_does_not_lose_them(bench, job):
    with later():
        asked = type_note(bench, job)
        again = bench.sign_in("ben", asked, password="wrong wrong wrong")
        assert b"Wrong sign-in name" in again.content
        assert b"U12 gets hot" in bench.sign_in("ben", again).content


def test_neither_does_a_lock_nor_signing_in_and_out_in_another_tab(bench, job):
    with later():
        asked = type_note(bench, job)
        for _ in range(6):
            locked = bench.sign_in("ben", asked, password="wrong wrong wrong")
        assert locked.status_code == 429 and b"still kept" in locked.content
        assert hidden(locked)["held"] == hidden(asked)["held"]
    with later(6):
        bench.sign_in("ben")
        bench.look()
        bench.post("/staff/sign-out/", {"csrfmiddlewaretoken": bench.token})
        again = bench.sign_in("ben", locked)  # its token is old now
        assert again.status_code == 403
        assert b"U12 gets hot" in bench.sign_in("ben", again).content


def test_a_browser_that_remembers_a_user_who_is_gone_is_led_to_sign_in(bench, ben, job):
    marks = json.loads(bench.cookies["typed_by"].value.rsplit(":", 2)[0])
    assert set(marks.values()) == {ben.pk}
    gone = HttpResponse()
    text = json.dumps(dict.fromkeys(marks, ben.pk + 99))
    gone.set_signed_cookie("typed_by", text, salt="held form")
    bench.cookies["typed_by"] = gone.cookies["typed_by"].value
    with later():
        assert type_note(bench, job).status_code == 302


def test_somebody_else_who_signs_in_does_not_see_them(bench, job, person):
    person("ada", Role.BENCH)
    with later():
        asked = type_note(bench, job)
        other = bench.sign_in("ada", asked)
        assert other.status_code == 302
        page = bench.get(other.url, follow=True).content.decode()
        assert "belong to someone else" in page and "U12" not in page
    assert notes(job) == ""


@pytest.mark.parametrize("at", [0, 30, -5])
def test_a_changed_field_is_refused(bench, job, at):
    with later():
        asked = type_note(bench, job)
        field = list(hidden(asked)["held"])
        field[at] = "A" if field[at] != "A" else "B"
        assert bench.sign_in("ben", asked, held="".join(field)).status_code == 302


def test_they_are_kept_for_twelve_hours(bench, job):
    with later(5):
        asked = type_note(bench, job)
    with later(18):
        assert bench.sign_in("ben", asked).status_code == 302


def test_a_page_older_than_signing_in_again_keeps_them_too(bench, job):
    """Someone signed in again in another tab, so the page has an old token."""
    with later():
        bench.sign_in("ben")
        kept = type_note(bench, job)
        assert kept.status_code == 403 and b"Your entries were kept" in kept.content
        assert send_now(bench, kept).status_code == 302
    assert notes(job).startswith("U12")


def test_a_page_of_somebody_else_in_this_browser_shows_nothing(bench, job, person):
    person("ada", Role.BENCH)
    bench.post("/staff/sign-out/", {"csrfmiddlewaretoken": bench.token})
    bench.sign_in("ada")
    refused = type_note(bench, job)
    assert refused.status_code == 403 and b"U12" not in refused.content
    assert b"This page has expired" in refused.content


def test_signing_out_in_another_tab_keeps_them(bench, job):
    bench.post("/staff/sign-out/", {"csrfmiddlewaretoken": bench.token})
    assert b"U12 gets hot" in bench.sign_in("ben", type_note(bench, job)).content


def test_the_sign_in_page_sent_twice_shows_them_again(bench, job):
    with later():
        asked = type_note(bench, job)
        bench.sign_in("ben", asked)
        again = bench.sign_in("ben", asked)
        assert b"U12 gets hot" in again.content


def test_who_was_deactivated_is_told_so(bench, ben, job):
    ben.is_active = False
    ben.save()
    told = type_note(bench, job)
    assert told.status_code == 403 and b"was deactivated" in told.content
    assert notes(job) == ""


def test_a_new_passphrase_keeps_them_until_there_is_a_password(bench, ben, job):
    passphrase = ben.set_passphrase(at=timezone.now())
    ben.save()
    asked = type_note(bench, job)
    page = bench.sign_in("ben", asked, password=passphrase)
    new = {"current": passphrase, "password": "seven green kettles hum"}
    new |= {"again": new["password"]} | hidden(page)
    kept = bench.post("/staff/password/", new)
    assert b"U12 gets hot" in kept.content
    assert send_now(bench, kept).status_code == 302
    assert notes(job).startswith("U12")


def test_a_password_asked_again_keeps_what_was_typed(person):
    person("olga")
    browser = Browser()
    browser.sign_in("olga")
    page = browser.look(reverse("staff:add"))
    told = {"name": "Ben Lowe", "username": "ben", "role": "bench"}
    with later(0.5):
        asked = browser.send(reverse("staff:add"), told)
        assert b"Nothing was saved yet." in asked.content
        told = hidden(asked) | {"password": PASSWORD}
        kept = browser.post("/staff/confirm/", told)
        assert b"Ben Lowe" in kept.content
        assert b"Passphrase for Ben" in send_now(browser, kept).content
    assert page.status_code == 200


def test_files_are_not_kept_and_secrets_not_listed(person):
    person("olga")
    browser = Browser()
    browser.sign_in("olga")
    browser.look(reverse("shop:settings"))
    logo = SimpleUploadedFile("logo.png", b"x")
    told = {"name": "Fern", "logo": logo, "access_code": "1379", "any_password": "pw"}
    told |= {"form-version_now": "88", "initial-name": "99", "head-ticked": "on"}
    with later():
        asked = browser.send(reverse("shop:settings"), told)
        assert b"Files cannot be kept" in asked.content
        kept = browser.sign_in("olga", asked).content.decode()
    listed = kept.partition("<dl")[2].partition("</dl>")[0]
    assert re.findall("<dt>(.*?)</dt><dd[^>]*>(.*?)</dd>", listed) == [
        ("Name", "Fern"),
        ("Access code", "kept, but not shown"),
        ("Any password", "kept, but not shown"),
        ("Ticked", "yes"),
    ]
    assert "Files were not kept" in kept
    assert Shop.current().name != "Fern"


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
    ],
)
def test_nothing_sent_by_another_site_is_kept(bench, job, headers):
    with later():
        asked = type_note(bench, job, headers=headers)
    assert "held" not in hidden(asked)


@pytest.mark.parametrize("path", ["/staff/password/", "/staff/confirm/", SIGN_IN])
def test_what_holds_secrets_is_never_kept(bench, path):
    with later():
        asked = bench.send(path, {"current": PASSWORD, "password": PASSWORD})
    assert "held" not in hidden(asked)


def test_too_much_to_carry_is_said(bench, job, settings):
    with later():
        settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 10_100
        asked = type_note(bench, job)
    assert b"cannot be kept" in asked.content and "held" not in hidden(asked)


def test_a_browser_that_typed_nothing_here_is_led_to_sign_in(job, ben):
    stranger = Client().post(findings(job), {"findings-notes": NOTE})
    assert stranger.url == f"{SIGN_IN}?next={findings(job)}"
