"""Pages that ask for the password again, from one table."""

from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopdesk.shop.models import Shop
from shopdesk.staff.models import User
from shopdesk.staff.permissions import ANY_ROLE, CONFIRMED_URLS, roles_for
from tests.shopdesk.staff.conftest import PASSWORD
from tests.shopdesk.staff.test_permissions import address, visit

CONFIRM = "/staff/confirm/"
PAGE = reverse("staff:add")


def later(minutes):
    return time_machine.travel(timezone.now() + timedelta(minutes=minutes))


def test_each_page_of_the_table_asks_first_and_does_nothing(client, owner):
    wrong = []
    with later(11):
        for name in sorted(CONFIRMED_URLS):
            got, sent = visit(client, name, "get"), visit(client, name, "post")
            asks = b"Confirm it is you" in sent.content and sent.status_code == 403
            if got.get("Location") != f"{CONFIRM}?next={address(name)}" or not asks:
                wrong.append(name)
    assert wrong == []
    assert User.objects.count() == 1


def test_the_table_names_pages_that_somebody_may_open():
    assert [name for name in CONFIRMED_URLS if not roles_for(name) <= ANY_ROLE] == []


@pytest.mark.parametrize(("minutes", "is_asked"), [(9, False), (11, True)])
def test_signing_in_counts_for_ten_minutes(person, client, minutes, is_asked):
    person("olga")
    client.post("/staff/sign-in/", {"username": "olga", "password": PASSWORD})
    with later(minutes):
        assert client.get(PAGE).status_code == (302 if is_asked else 200)


def test_the_password_opens_the_page_asked_for(client, owner):
    with later(11):
        page = client.get(client.get(PAGE).url).content.decode()
        assert f'name="next" value="{PAGE}"' in page
        assert 'autocomplete="current-password"' in page
        answer = client.post(CONFIRM, {"password": PASSWORD, "next": PAGE})
        assert answer.url == PAGE and client.get(PAGE).status_code == 200


def test_a_part_of_a_page_leads_the_whole_page_to_confirm(client, owner):
    headers = {"hx-request": "true", "hx-current-url": f"http://testserver{PAGE}"}
    with later(11):
        assert (
            client.get(PAGE, headers=headers)["HX-Redirect"] == f"{CONFIRM}?next={PAGE}"
        )


def test_guessing_is_stopped_and_the_session_goes_on(client, owner):
    with later(11):
        for _ in range(6):
            assert (
                b"not your password" in client.post(CONFIRM, {"password": "no"}).content
            )
        assert (
            b"Wait 15 minutes" in client.post(CONFIRM, {"password": PASSWORD}).content
        )
        assert client.get(PAGE).status_code == 302
        assert client.get("/staff/password/").status_code == 200


def test_nobody_is_sent_elsewhere_after_confirming(client, owner):
    told = {"password": PASSWORD, "next": "https://elsewhere.example/"}
    assert client.post(CONFIRM, told).url == "/"


def test_the_settings_are_not_changed_before(client, owner):
    with later(11):
        client.post(reverse("shop:settings"), {"name": "Other"})
    assert Shop.current().name != "Other"
    assert Client().get(CONFIRM).status_code == 302
