"""Every kind of answer has the headers that protect; only three methods exist."""

import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse

from shopdesk.front import today
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.once

ALWAYS = {
    "Permissions-Policy": "camera=()",
    "Content-Security-Policy": "frame-ancestors 'none'",
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "",
    "Cross-Origin-Opener-Policy": "same-origin",
    "X-Request-ID": "",
}


def unreachable(execute, sql, params, many, context):
    raise OperationalError("unable to open database file")


def failing(*args, **kwargs):
    raise RuntimeError("broken")


@pytest.fixture
def answers(db, client, monkeypatch):
    """One answer of each kind, by its name."""
    make.shop()
    client.raise_request_exception = False
    anonymous = Client()
    found = {
        "sent to sign-in": anonymous.get("/", follow=False),
        "health": anonymous.get("/health/"),
        "static file": anonymous.get("/static/shopdesk/desk.css"),
        "no such static file": anonymous.get("/static/shopdesk/none.css"),
        "another host": anonymous.get("/", headers={"host": "<b>evil.example"}),
        "trace": anonymous.generic("TRACE", "/"),
        "invalid link": anonymous.get("/q/none/"),
        "without its token": Client(enforce_csrf_checks=True).post("/staff/sign-in/"),
    }
    for _ in range(12):
        found["throttled"] = anonymous.get("/q/none/")
    client.force_login(make.user(Role.COUNTER))
    found |= {
        "page": client.get("/bench/"),
        "no such page": client.get("/none/"),
        "refused": client.get("/trail/"),
    }
    client.force_login(make.user(Role.OWNER))
    found["pdf"] = client.get(reverse("month:pdf") + "?month=2026-01")
    monkeypatch.setattr(today, "render", failing)
    found["failed"] = client.get("/")
    return found


def test_every_kind_of_answer_has_the_headers(answers):
    statuses = {name: answer.status_code for name, answer in answers.items()}
    assert statuses == {
        "sent to sign-in": 302,
        "health": 200,
        "static file": 200,
        "no such static file": 404,
        "another host": 400,
        "trace": 405,
        "invalid link": 404,
        "without its token": 403,
        "throttled": 429,
        "page": 200,
        "no such page": 404,
        "refused": 403,
        "pdf": 200,
        "failed": 500,
    }
    assert answers["pdf"]["Content-Type"] == "application/pdf"
    lacks = [
        (name, header)
        for name, answer in answers.items()
        for header, part in ALWAYS.items()
        if header not in answer or part not in answer[header]
    ]
    assert lacks == []
    assert int(answers["throttled"]["Retry-After"]) > 0
    assert answers["trace"]["Allow"] == "GET, HEAD, POST"
    # The page of a failure names the request, by which the log has more.
    assert answers["failed"]["X-Request-ID"] in answers["failed"].text


def test_another_host_is_told_which_setting_adds_it_and_not_repeated(answers):
    page = answers["another host"]
    assert (
        "ALLOWED_HOSTS" in page.text and "does not answer to the address" in page.text
    )
    assert "evil.example" not in page.text
    assert 'href="/"' not in page.text


@pytest.mark.parametrize("method", ["TRACE", "TRACK", "PUT", "DELETE", "OPTIONS", "X"])
def test_a_method_that_no_page_has_is_refused(client, db, method):
    for path in ("/", "/health/", "/static/shopdesk/desk.css", "/none/"):
        assert client.generic(method, path).status_code == 405


def test_health_says_ok_or_failed_and_nothing_else(
    client, db, django_assert_num_queries
):
    client.get("/health/")  # the clock is looked at by the first request
    with django_assert_num_queries(1):
        well = client.get("/health/")
    assert (well.status_code, well.content) == (200, b"ok\n")
    assert not well.cookies and "no-store" in well["Cache-Control"]
    with connection.execute_wrapper(unreachable):
        broken = client.get("/health/")
    assert (broken.status_code, broken.content) == (503, b"failed\n")
    assert broken["Retry-After"]
