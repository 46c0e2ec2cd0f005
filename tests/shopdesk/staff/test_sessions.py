"""Sessions: listed for their user, ended by them or the owner, never in a backup."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopdesk.keeping.tables import stored_models
from shopdesk.staff.browsers import name_browser
from shopdesk.staff.models import Role, Session, User
from tests import make
from tests.shopdesk.staff.conftest import PASSWORD
from tests.shopdesk.staff.test_sign_in import is_in, sign_in

DEVICES = "/staff/devices/"
END = "/staff/devices/end/"
FIREFOX = (
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
)
SAFARI = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15"
    " (KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1"
)
EDGE = (
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko)"
    " Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0"
)


def signed_in(name, user_agent=FIREFOX):
    client = Client(headers={"user-agent": user_agent})
    sign_in(client, name)
    return client


@pytest.mark.parametrize(
    ("user_agent", "name"),
    [
        (FIREFOX, "Firefox on Windows"),
        (SAFARI, "Safari on iPhone"),
        (EDGE, "Edge on Windows"),
        ("curl/8.0", "Unknown browser"),
        ("", "Unknown browser"),
    ],
)
def test_a_browser_is_named_in_words(user_agent, name):
    assert name_browser(user_agent) == name


def test_own_sessions_are_listed_with_this_one_first(person):
    person("ada")
    person("eve")
    signed_in("eve", EDGE)
    signed_in("ada", SAFARI)
    here = signed_in("ada")
    page = here.get(DEVICES).content.decode()
    found = re.findall(r"<strong>([^<]+)</strong>( \(this device\))?", page)
    assert found == [("Firefox on Windows", " (this device)"), ("Safari on iPhone", "")]


def test_one_is_ended_or_all_others(person):
    person("ada")
    first, second, third = (
        signed_in("ada", agent) for agent in (SAFARI, EDGE, FIREFOX)
    )
    key = next(
        row.session_key
        for row in Session.objects.all()
        if row.get_decoded()["browser"] == "Edge on Windows"
    )
    assert f'name="device" value="{key}"' in third.get(DEVICES).content.decode()
    third.post(END, {"device": key})
    assert [is_in(client) for client in (first, second, third)] == [True, False, True]
    third.post(END)
    assert [is_in(client) for client in (first, third)] == [False, True]


def test_nobody_ends_a_session_of_somebody_else(person):
    person("ada")
    person("eve")
    eve, ada = signed_in("eve"), signed_in("ada")
    key = Session.objects.get(user__username="eve").session_key
    ada.post(END, {"device": key})
    assert is_in(eve) and is_in(ada)


def test_the_owner_ends_those_of_a_member(client, owner, person):
    ben = person("ben", Role.BENCH)
    theirs = signed_in("ben")
    assert b"Firefox on Windows" in client.get(ben.get_absolute_url()).content
    client.post(reverse("staff:end_sessions", args=[ben.pk]))
    assert not is_in(theirs) and is_in(client)


def test_a_new_password_leaves_no_other_session_in_the_list(person):
    person("ada")
    signed_in("ada", SAFARI)
    here = signed_in("ada")
    new = "seven green kettles hum"
    here.post("/staff/password/", {"current": PASSWORD, "password": new, "again": new})
    assert is_in(here) and Session.objects.count() == 1


def test_the_table_gives_nobody_a_session(client, person):
    """Whoever reads the database has a hash of the key only."""
    person("ada")
    sign_in(client, "ada")
    stored = Session.objects.get().session_key
    assert stored != client.cookies["sessionid"].value
    client.cookies["sessionid"] = stored
    assert not is_in(client)


def test_expired_sessions_are_deleted_at_a_sign_in(person):
    person("ada")
    signed_in("ada")
    with time_machine.travel(timezone.now() + timedelta(hours=13)):
        signed_in("ada")
        assert Session.objects.count() == 1


def test_a_backup_holds_no_session(db):
    from django.apps import apps

    stored = stored_models(apps)
    assert User in stored and Session not in stored


# --- switching the user -----------------------------------------------------------


def switch(client, page):
    shown = client.get(page).content.decode()
    assert f'name="next" value="{page}"' in shown
    return client.post("/staff/switch/", {"next": page})


@pytest.mark.parametrize(
    ("page", "lands"),
    [("/bench/", "/bench/"), ("/staff/devices/", "/staff/devices/"), ("/staff/", "/")],
)
def test_the_next_user_comes_back_to_the_page_if_they_may_open_it(
    client, person, page, lands
):
    person("olga")
    person("ben", Role.BENCH)
    sign_in(client, "olga")
    answer = switch(client, page)
    assert answer.url == f"/staff/sign-in/?next={page}"
    assert answer["Clear-Site-Data"] == '"cache", "storage"'
    assert not Session.objects.exists()
    assert sign_in(client, "ben", next=page).url == lands


def test_a_link_can_not_switch_the_user(client, db):
    client.force_login(make.user())
    assert client.get("/staff/switch/").status_code == 405
    assert is_in(client)
