"""Every URL there is, for everybody there is, against the one table of doors."""

import re
from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from shopdesk.doors import ALL, DOORS, OPEN
from shopdesk.staff.middleware import BEFORE_OWN_PASSWORD
from shopdesk.staff.models import Kind
from tests import make

SIGN_IN = "/staff/sign-in/"
NOBODY_HAS = {"int": 987654321, "str": "nobody", "slug": "nobody", "path": "a/b"}
NOBODY_HAS["uuid"] = "00000000-0000-4000-8000-000000000000"


def urls(resolver=None, namespace="") -> Iterator[tuple[str, URLPattern]]:
    """Every URL in the resolver by its full name; without a name it can't be found."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            inner = f"{namespace}{entry.namespace}:" if entry.namespace else namespace
            yield from urls(entry, inner)
        else:
            yield f"{namespace}{entry.name}", entry


URLS = dict(urls())
NAMES = sorted(URLS)
SHUT = sorted(set(NAMES) - OPEN)


def address(name):
    """An address of this URL that leads to no record."""
    converters = URLS[name].pattern.converters
    told = {
        key: NOBODY_HAS.get(re.sub("Converter$", "", type(how).__name__).lower(), "x")
        for key, how in converters.items()
    }
    return reverse(name, kwargs=told)


def visit(client, name, method, **more):
    # Whatever happens behind an open door is the room's own business and tests.
    client.raise_request_exception = False
    return getattr(client, method)(address(name), **more)


def signed_in(user):
    client = Client()
    client.force_login(user)
    return client


def offenders(names, is_right, *, user=None, **more):
    """The URLs that answer wrongly, each by GET and by POST, each to a new session."""
    wrong = []
    for name in sorted(names):
        for method in ("get", "post"):
            client = signed_in(user) if user else Client()
            response = visit(client, name, method, **more)
            if not is_right(name, response):
                wrong.append((name, method, response.status_code))
    return wrong


def is_sent_to_sign_in(name, response):
    url = response.get("Location", "")
    return response.status_code == 302 and url.startswith(f"{SIGN_IN}?next=")


# --- the table and the resolver say the same --------------------------------------


def test_every_url_has_a_name_of_its_own():
    names = [name for name, _ in urls()]
    assert "None" not in {name.split(":")[-1] for name in names}
    assert len(names) == len(set(names))


def test_every_url_stands_in_the_table():
    assert [name for name in NAMES if name not in DOORS and name not in OPEN] == []


def test_every_door_of_the_table_is_there():
    assert sorted({*DOORS, *OPEN} - set(NAMES)) == []


def test_no_door_is_both_open_and_kept():
    assert not OPEN & set(DOORS)


def test_the_doors_without_sign_in_are_those_of_the_table_and_no_others():
    without = {
        name
        for name, url in URLS.items()
        if getattr(url.callback, "login_required", True) is False
    }
    assert without == OPEN


def test_the_table_knows_the_kinds_of_staff_and_no_others():
    assert set(Kind.values) == ALL
    for name, kinds in DOORS.items():
        assert kinds and kinds <= ALL, name


def test_what_a_kind_may_the_owner_may_too():
    assert [name for name, kinds in DOORS.items() if "owner" not in kinds] == []


# --- everybody at every door ------------------------------------------------------


def test_strangers_are_sent_to_sign_in(db):
    make.user()
    assert offenders(SHUT, is_sent_to_sign_in) == []


def test_who_is_switched_off_is_a_stranger(db):
    user = make.user(Kind.OWNER)
    client = signed_in(user)
    user.is_active = False
    user.save()
    wrong = [
        (name, method)
        for name in SHUT
        for method in ("get", "post")
        if not is_sent_to_sign_in(name, visit(client, name, method))
    ]
    assert wrong == []


@pytest.mark.parametrize("kind", Kind.values)
def test_a_kind_that_is_not_listed_is_refused_and_one_that_is_comes_in(db, kind):
    def is_right(name, response):
        # Nothing of the shop is kept by a browser that several people use.
        if "no-store" not in response["Cache-Control"]:
            return False
        if kind not in DOORS.get(name, ()):
            return response.status_code == 403
        return (
            response.status_code not in (401, 403)
            and response.status_code < 500
            and not response.get("Location", "").startswith(SIGN_IN + "?")
        )

    assert offenders(SHUT, is_right, user=make.user(kind)) == []


def test_a_signed_out_part_of_a_page_leads_the_whole_page_to_sign_in(db):
    def is_right(name, response):
        leads = response.get("HX-Redirect") == f"{SIGN_IN}?next=/bench/7/"
        return leads and response.content == b""

    make.user()
    headers = {"hx-request": "true", "hx-current-url": "http://testserver/bench/7/"}
    assert offenders(SHUT, is_right, headers=headers) == []


def test_the_open_doors_ask_for_no_sign_in(db):
    def is_right(name, response):
        return response.status_code in (200, 404)  # set-up is no longer there

    make.user()
    assert offenders(OPEN, is_right) == []


def test_with_a_passphrase_only_ones_own_password_can_be_made(db):
    def is_right(name, response):
        return response.get("Location") == "/staff/password/"

    user = make.user(Kind.OWNER, passphrase_until=timezone.now())
    assert offenders(set(SHUT) - BEFORE_OWN_PASSWORD, is_right, user=user) == []


# --- the rules themselves ---------------------------------------------------------


def test_a_url_that_is_in_no_table_is_shut_even_for_the_owner(db, monkeypatch):
    monkeypatch.delitem(DOORS, "staff:people")
    assert signed_in(make.user(Kind.OWNER)).get("/staff/").status_code == 403


@pytest.mark.parametrize("where", ["https://elsewhere.example/x", "//elsewhere", "x"])
def test_a_part_of_a_page_from_elsewhere_is_led_home(db, where):
    make.user()
    headers = {"hx-request": "true", "hx-current-url": where}
    response = Client().get("/staff/", headers=headers)
    assert response["HX-Redirect"] == f"{SIGN_IN}?next=/"


def test_there_are_urls_to_knock_at():
    assert len(SHUT) > 30 and len(OPEN) >= 2
