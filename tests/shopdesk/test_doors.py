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


def knock(client, name, method, **more):
    # Whatever happens behind an open door is the room's own business and tests.
    client.raise_request_exception = False
    return getattr(client, method)(address(name), **more)


def signed_in(kind, **facts):
    client = Client()
    client.force_login(make.user(kind, **facts))
    return client


methods = pytest.mark.parametrize("method", ["get", "post"])


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


@methods
@pytest.mark.parametrize("name", SHUT)
def test_strangers_are_sent_to_sign_in(db, name, method):
    make.user()
    response = knock(Client(), name, method)
    assert response.status_code == 302
    assert response.url.startswith(f"{SIGN_IN}?next=")


@methods
@pytest.mark.parametrize("name", SHUT)
def test_who_is_switched_off_is_a_stranger(db, name, method):
    user = make.user(Kind.OWNER)
    client = Client()
    client.force_login(user)
    user.is_active = False
    user.save()
    response = knock(client, name, method)
    assert response.status_code == 302
    assert response.url.startswith(f"{SIGN_IN}?next=")


@methods
@pytest.mark.parametrize("kind", Kind.values)
@pytest.mark.parametrize("name", SHUT)
def test_a_kind_that_is_not_listed_is_refused_and_one_that_is_comes_in(
    db, name, kind, method
):
    response = knock(signed_in(kind), name, method)
    if kind in DOORS.get(name, ()):
        assert response.status_code not in (401, 403)
        assert response.status_code < 500
        assert not response.get("Location", "").startswith(SIGN_IN + "?")
    else:
        assert response.status_code == 403


@methods
@pytest.mark.parametrize("name", SHUT)
def test_a_signed_out_part_of_a_page_leads_the_whole_page_to_sign_in(db, name, method):
    make.user()
    headers = {"hx-request": "true", "hx-current-url": "http://testserver/bench/7/"}
    response = knock(Client(), name, method, headers=headers)
    assert response["HX-Redirect"] == f"{SIGN_IN}?next=/bench/7/"
    assert response.content == b""


@methods
@pytest.mark.parametrize("name", sorted(OPEN))
def test_the_open_doors_ask_for_no_sign_in(db, name, method):
    make.user()
    response = knock(Client(), name, method)
    assert response.status_code in (200, 404)  # set-up is no longer there


@methods
@pytest.mark.parametrize("name", sorted(set(SHUT) - BEFORE_OWN_PASSWORD))
def test_with_a_passphrase_only_ones_own_password_can_be_made(db, name, method):
    client = signed_in(Kind.OWNER, passphrase_until=timezone.now())
    assert knock(client, name, method).url == "/staff/password/"


@pytest.mark.parametrize("name", SHUT)
def test_a_page_of_the_shop_is_kept_by_no_browser(db, name):
    response = knock(signed_in(Kind.OWNER), name, "get")
    assert "no-store" in response["Cache-Control"]


# --- the rules themselves ---------------------------------------------------------


def test_a_url_that_is_in_no_table_is_shut_even_for_the_owner(db, monkeypatch):
    monkeypatch.delitem(DOORS, "staff:people")
    assert signed_in(Kind.OWNER).get("/staff/").status_code == 403


@pytest.mark.parametrize("where", ["https://elsewhere.example/x", "//elsewhere", "x"])
def test_a_part_of_a_page_from_elsewhere_is_led_home(db, where):
    make.user()
    headers = {"hx-request": "true", "hx-current-url": where}
    response = Client().get("/staff/", headers=headers)
    assert response["HX-Redirect"] == f"{SIGN_IN}?next=/"


def test_there_are_urls_to_knock_at():
    assert len(SHUT) > 30 and len(OPEN) >= 2
