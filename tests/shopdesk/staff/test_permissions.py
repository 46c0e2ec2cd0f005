"""Every URL, asked for by every role, against the one table of permissions."""

import re
from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from shopdesk.staff.middleware import ALLOWED_BEFORE_PASSWORD_CHANGE
from shopdesk.staff.models import Role
from shopdesk.staff.permissions import (
    ANY_ROLE,
    PUBLIC_URLS,
    ROOM_ROLES,
    URL_ROLES,
    roles_for,
)
from tests import make
from tests.shopdesk.staff.url_roles import EXPECTED

pytestmark = pytest.mark.once

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
SHUT = sorted(set(NAMES) - PUBLIC_URLS)


def address(name):
    """An address of this URL that leads to no record."""
    converters = URLS[name].pattern.converters
    told = {
        key: NOBODY_HAS.get(re.sub("Converter$", "", type(how).__name__).lower(), "x")
        for key, how in converters.items()
    }
    return reverse(name, kwargs=told)


def visit(client, name, method, **more):
    # What a page does once it is open is tested in its room.
    client.raise_request_exception = False
    return getattr(client, method)(address(name), **more)


def signed_in(user):
    client = Client()
    client.force_login(user)
    return client


def offenders(names, is_right, *, user=None, **more):
    """The URLs that answer wrongly, each by GET and by POST."""
    wrong, client = [], None
    for name in sorted(names):
        for method in ("get", "post"):
            client = client or (signed_in(user) if user else Client())
            response = visit(client, name, method, **more)
            if not user or name.startswith("staff:"):
                client = None  # as such a page may end the session
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


def test_every_url_is_open_to_the_roles_that_were_reviewed():
    assert {name: roles_for(name) for name in SHUT} == EXPECTED


def test_the_tables_name_no_room_or_page_that_is_not_there():
    assert sorted({*URL_ROLES, *PUBLIC_URLS} - set(NAMES)) == []
    assert sorted(set(ROOM_ROLES) - {name.rpartition(":")[0] for name in SHUT}) == []


def test_a_page_stands_in_the_table_only_where_it_differs_from_its_room():
    rooms = {name: ROOM_ROLES.get(name.rpartition(":")[0]) for name in URL_ROLES}
    assert [name for name, roles in rooms.items() if roles == URL_ROLES[name]] == []
    assert not PUBLIC_URLS & set(URL_ROLES)


def test_the_pages_without_sign_in_are_those_of_the_table_and_no_others():
    without = {
        name
        for name, url in URLS.items()
        if getattr(url.callback, "login_required", True) is False
    }
    assert without == PUBLIC_URLS


def test_the_tables_know_the_roles_of_staff_and_no_others():
    assert set(Role.values) == ANY_ROLE
    listed = [*ROOM_ROLES.values(), *URL_ROLES.values()]
    assert [roles for roles in listed if not roles or not roles <= ANY_ROLE] == []


def test_the_owner_may_open_every_page():
    assert [name for name in SHUT if "owner" not in roles_for(name)] == []


# --- everybody at every page ------------------------------------------------------


def test_strangers_are_sent_to_sign_in(db):
    make.user()
    assert offenders(SHUT, is_sent_to_sign_in) == []


def test_who_is_switched_off_is_a_stranger(db):
    user = make.user(Role.OWNER)
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


@pytest.mark.parametrize("role", Role.values)
def test_a_role_that_is_not_listed_is_refused_and_one_that_is_gets_the_page(db, role):
    def is_right(name, response):
        # Nothing of the shop is kept by a browser that several people use.
        if "no-store" not in response["Cache-Control"]:
            return False
        if role not in EXPECTED[name]:
            return response.status_code == 403
        return (
            response.status_code not in (401, 403)
            and response.status_code < 500
            and (not is_sent_to_sign_in(name, response) or name == "staff:switch")
        )

    assert offenders(SHUT, is_right, user=make.user(role)) == []


def test_a_signed_out_part_of_a_page_leads_the_whole_page_to_sign_in(db):
    def is_right(name, response):
        leads = response.get("HX-Redirect") == f"{SIGN_IN}?next=/bench/7/"
        return leads and response.content == b""

    make.user()
    headers = {"hx-request": "true", "hx-current-url": "http://testserver/bench/7/"}
    assert offenders(SHUT, is_right, headers=headers) == []


def test_the_public_pages_ask_for_no_sign_in(db):
    def is_right(name, response):
        # Set-up is no longer there; so many unknown links have to wait. The API asks
        # for a token instead, and can only be read.
        codes = (401, 405, 429) if name.startswith("api:") else (200, 404, 405, 429)
        return response.status_code in codes

    make.user()
    assert offenders(PUBLIC_URLS, is_right) == []


def test_with_a_passphrase_only_ones_own_password_can_be_made(db):
    def is_right(name, response):
        return response.get("Location") == "/staff/password/"

    user = make.user(Role.OWNER, passphrase_until=timezone.now())
    assert (
        offenders(set(SHUT) - ALLOWED_BEFORE_PASSWORD_CHANGE, is_right, user=user) == []
    )


# --- the rules themselves ---------------------------------------------------------


def test_a_room_that_is_in_no_table_is_closed_even_to_the_owner(db, monkeypatch):
    monkeypatch.delitem(ROOM_ROLES, "staff")
    assert signed_in(make.user(Role.OWNER)).get("/staff/").status_code == 403


@pytest.mark.parametrize("where", ["https://elsewhere.example/x", "//elsewhere", "x"])
def test_a_part_of_a_page_from_elsewhere_is_led_home(db, where):
    make.user()
    headers = {"hx-request": "true", "hx-current-url": where}
    response = Client().get("/staff/", headers=headers)
    assert response["HX-Redirect"] == f"{SIGN_IN}?next=/"


def test_there_are_urls_to_ask_for():
    assert len(SHUT) > 30 and len(PUBLIC_URLS) >= 2
