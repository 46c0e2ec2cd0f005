import re
from datetime import timedelta
from html import unescape

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopdesk.errors import RefusedError
from shopdesk.staff import actions
from shopdesk.staff.models import Role, User
from shopdesk.stamp import Stamp
from tests import make
from tests.shopdesk.staff.conftest import PASSWORD

OWN = "seven green kettles hum"


def change(client, who, **facts):
    told = {"name": who.name, "role": who.role, "is_active": "on"} | facts
    return client.post(reverse("staff:person", args=[who.pk]), told)


def add(client, **facts):
    told = {"name": "Ben Lowe", "username": "ben", "role": "bench"} | facts
    return client.post(reverse("staff:add"), told)


def sign_in(client, username, password):
    return client.post("/staff/sign-in/", {"username": username, "password": password})


def test_a_new_member_comes_in_by_passphrase_and_makes_their_own_password(
    client, owner
):
    page = add(client)
    passphrase = page.context["passphrase"]
    assert passphrase in page.content.decode()
    assert "no-store" in page["Cache-Control"]
    ben = User.objects.get(username="ben")
    assert passphrase not in str(ben.__dict__)

    theirs = Client()
    assert sign_in(theirs, "ben", passphrase).status_code == 302
    for address in ("/", reverse("staff:people"), "/staff/add/"):
        assert theirs.get(address).url == "/staff/password/"
    part = theirs.get("/", headers={"hx-request": "true"})
    assert part["HX-Redirect"] == "/staff/password/"

    told = {"current": passphrase, "password": OWN, "again": OWN}
    assert theirs.post("/staff/password/", told).status_code == 302
    assert theirs.get("/staff/password/").status_code == 200
    assert theirs.get(reverse("staff:people")).status_code == 403
    assert sign_in(Client(), "ben", passphrase).status_code == 200
    assert sign_in(Client(), "ben", OWN).status_code == 302


def test_a_passphrase_runs_out_after_a_day(client, owner):
    passphrase = add(client).context["passphrase"]
    with time_machine.travel(timezone.now() + timedelta(hours=25)):
        refused = sign_in(Client(), "ben", passphrase)
    assert b"has expired" in refused.content


def test_a_name_taken_is_told_and_nobody_is_added(client, owner):
    add(client)
    again = add(client, username="BEN", name="Benno")
    assert b"already" in again.content and b'value="Benno"' in again.content
    assert User.objects.count() == 2


def test_a_name_taken_in_the_same_moment_is_told_too(owner):
    with transaction.atomic(), pytest.raises(RefusedError, match="already"):
        actions.add_person(
            username="olga", name="Olga Two", role="bench", stamp=Stamp.now()
        )
    assert User.objects.count() == 1


def test_a_change_of_role_holds_from_the_next_request(client, owner, person):
    other = person("second")
    theirs = Client()
    theirs.force_login(other)
    assert theirs.get(reverse("staff:people")).status_code == 200
    assert change(client, other, role="counter").status_code == 302
    assert theirs.get(reverse("staff:people")).status_code == 403
    assert theirs.get("/staff/password/").status_code == 200


def test_who_is_switched_off_is_out_at_once_and_can_not_come_back(
    client, owner, person
):
    ben = person("ben", Role.BENCH)
    theirs = Client()
    theirs.force_login(ben)
    assert change(client, ben, is_active="").status_code == 302
    assert theirs.get("/staff/password/").url.startswith("/staff/sign-in/")
    assert sign_in(theirs, "ben", PASSWORD).status_code == 200


def test_a_reset_ends_open_sessions_and_the_old_password(client, owner, person):
    ben = person("ben", Role.BENCH)
    theirs = Client()
    theirs.force_login(ben)
    told = client.post(reverse("staff:reset", args=[ben.pk])).context["passphrase"]
    assert theirs.get("/staff/password/").status_code == 302
    assert sign_in(Client(), "ben", PASSWORD).status_code == 200
    assert sign_in(Client(), "ben", told).status_code == 302


@pytest.mark.parametrize("facts", [{"role": "bench"}, {"is_active": ""}])
def test_the_last_owner_can_not_be_lost(client, owner, facts):
    response = change(client, owner, **facts)
    assert b"last owner" in response.content
    owner.refresh_from_db()
    assert owner.role == Role.OWNER and owner.is_active


def test_an_owner_who_never_came_in_does_not_count(client, owner):
    add(client, role="owner")
    assert b"last owner" in change(client, owner, role="bench").content


def test_with_a_second_owner_the_first_may_go(client, owner, person):
    person("second")
    assert change(client, owner, role="bench").status_code == 302
    owner.refresh_from_db()
    assert owner.role == Role.BENCH


def test_the_last_owner_is_not_reset_by_an_owner_on_a_passphrase(owner):
    with pytest.raises(RefusedError):
        actions.reset_person(owner, stamp=Stamp.now())
    owner.refresh_from_db()
    assert owner.check_password(PASSWORD)


def test_ones_own_password_is_not_reset_but_changed(client, owner):
    response = client.post(reverse("staff:reset", args=[owner.pk]))
    assert response.url == "/staff/password/"
    owner.refresh_from_db()
    assert owner.check_password(PASSWORD)


@pytest.mark.parametrize(
    "extra", [{"id": "99"}, {"password": "x"}, {"username": "root"}, {"is_staff": "1"}]
)
def test_only_what_the_form_shows_is_changed(client, owner, person, extra):
    ben = person("ben", Role.BENCH)
    change(client, ben, name="Ben", **extra)
    after = User.objects.get(pk=ben.pk)
    assert (after.username, after.password) == ("ben", ben.password)


def test_a_person_who_is_not_there_gives_404(client, owner):
    assert client.get(reverse("staff:person", args=[10**15])).status_code == 404


@pytest.mark.parametrize("n", [1, 30])
def test_the_list_asks_as_often_however_many_work_here(
    client, owner, django_assert_num_queries, n
):
    for _ in range(n):
        make.user(Role.BENCH)
    with django_assert_num_queries(6):  # session, person, shop, count, keys, rows
        page = client.get(reverse("staff:people") + "?per_page=100")
    assert page.content.decode().count("<tr") == n + 2


def test_every_heading_that_sorts_does(client, owner):
    page = client.get(reverse("staff:people")).content.decode()
    heads = re.findall(r'href="(\?[^"]*sort=[^"]*)"', page)
    assert heads
    for head in heads:
        assert client.get(reverse("staff:people") + unescape(head)).status_code == 200


# --- manage.py reset_owner ------------------------------------------------------


def test_the_only_owner_who_forgot_the_password_comes_back(client, owner, capsys):
    for _ in range(6):
        sign_in(Client(), "olga", "wrong wrong wrong")
    assert sign_in(Client(), "olga", PASSWORD).status_code == 429
    call_command("reset_owner", "Olga")
    told = re.search(r"Passphrase for olga: (\S+)", capsys.readouterr().out)[1]
    assert client.get("/staff/password/").status_code == 302
    assert sign_in(Client(), "olga", PASSWORD).status_code == 200
    theirs = Client()
    assert sign_in(theirs, "olga", told).status_code == 302
    assert theirs.get("/").url == "/staff/password/"


@pytest.mark.parametrize("name", ["ben", "gone", "nobody", ""])
def test_only_an_owner_is_reset_by_the_command(owner, person, name):
    person("ben", Role.BENCH)
    person("gone", is_active=False)
    with pytest.raises(CommandError, match="Owners: olga") as refused:
        call_command("reset_owner", name)
    assert refused.value.returncode == 1
    assert not User.objects.exclude(passphrase_until=None).exists()
