import re
from datetime import timedelta
from html import unescape

import pyotp
import pytest
import time_machine
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopdesk.recording.models import CHANGES, TrailEntry
from shopdesk.staff import actions, second_factor
from shopdesk.staff.middleware import ALLOWED_BEFORE_SECOND_FACTOR
from shopdesk.staff.models import RecoveryCode, Role, User
from shopdesk.stamp import Stamp
from tests import make
from tests.at_once import all_at_once
from tests.shopdesk.staff.test_held_forms import Browser, hidden
from tests.shopdesk.staff.test_permissions import SHUT, offenders
from tests.shopdesk.staff.test_sign_in import is_in, sign_in

PAGE = "/staff/second-factor/"
CODE = "/staff/sign-in/code/"


@pytest.fixture
def start():
    """A fixed moment, so that a test knows which step of 30 s it is in."""
    moment = timezone.now().replace(second=0, microsecond=0)
    with time_machine.travel(moment, tick=False) as clock:
        yield lambda **later: clock.move_to(moment + timedelta(**later))


def set_up(user):
    """Give `user` a second factor; return the secret and the recovery codes."""
    actions.start_second_factor(user)
    secret = second_factor.secret_of(user)
    before = Stamp(timezone.now() - timedelta(seconds=30), user)
    codes = actions.activate_second_factor(
        user, code=pyotp.TOTP(secret).at(before.at), keep="", stamp=before
    )
    return secret, codes


def code_of(secret, **later):
    return pyotp.TOTP(secret).at(timezone.now() + timedelta(**later))


def wrong_code(secret):
    """Six digits that are not right now, nor a step before or after."""
    right = {code_of(secret, seconds=s) for s in (-30, 0, 30)}
    return next(
        code for code in ("000000", "111111", "222222", "333333") if code not in right
    )


# --- setting it up ----------------------------------------------------------------


def test_it_is_set_up_with_a_code_of_the_app_and_ends_other_sessions(
    client, owner, start
):
    other = Client()
    other.force_login(owner)
    client.post(reverse("staff:start_second_factor"))
    page = client.get(PAGE).content.decode()
    secret = re.search(r"\b[A-Z2-7]{32}\b", page)[0]
    assert "<svg" in page and 'autocomplete="one-time-code"' in page
    activate = reverse("staff:activate_second_factor")
    wrong = client.post(activate, {"code": wrong_code(secret)})
    assert b"not the app" in wrong.content and b'id="id_code_error"' in wrong.content
    assert sign_in(Client(), "olga").status_code == 302  # not active yet
    done = client.post(activate, {"code": code_of(secret)})
    assert "no-store" in done["Cache-Control"]
    codes = done.context["codes"]
    assert len(set(codes)) == 10 and all(code in done.text for code in codes)
    assert "Your second factor is set up" in done.text
    assert "Your second factor is set up" not in client.get(PAGE).text
    assert is_in(client) and not is_in(other)
    assert b'name="code"' in sign_in(Client(), "olga").content


def test_the_database_holds_neither_secret_nor_codes_in_clear(owner):
    secret, codes = set_up(owner)
    with connection.cursor() as cursor:
        cursor.execute("SELECT totp_secret FROM shopdesk_user")
        stored = bytes(cursor.fetchone()[0])
        cursor.execute("SELECT code_hash FROM shopdesk_recoverycode")
        hashes = {row[0] for row in cursor.fetchall()}
    assert secret.encode() not in stored
    assert len(hashes) == 10 and not hashes & set(codes)


def test_a_secret_moved_to_another_user_opens_nothing(person, client, start):
    ada, eve = person("ada"), person("eve")
    secret, _ = set_up(ada)
    set_up(eve)
    ada.refresh_from_db()
    User.objects.filter(pk=eve.pk).update(totp_secret=ada.totp_secret)
    sign_in(client, "eve")
    refused = client.post(CODE, {"code": code_of(secret)})
    assert b"cannot be read" in refused.content and not is_in(client)


# --- signing in -------------------------------------------------------------------


def test_the_password_alone_does_not_sign_in(client, person, start):
    secret, _ = set_up(person("ada"))
    page = sign_in(client, "ada", next="/staff/devices/")
    assert b'name="code"' in page.content and not is_in(client)
    asked = {"code": code_of(secret), "next": "/staff/devices/"}
    assert client.post(CODE, asked).url == "/staff/devices/"
    assert is_in(client)


def test_the_same_code_is_never_accepted_twice(person, start):
    secret, _ = set_up(person("ada"))
    first, second = Client(), Client()
    for client in (first, second):
        sign_in(client, "ada")
    code = code_of(secret)
    assert first.post(CODE, {"code": code}).status_code == 302
    assert b"used before" in second.post(CODE, {"code": code}).content
    assert not is_in(second)
    start(seconds=30)
    assert second.post(CODE, {"code": code_of(secret)}).status_code == 302


@pytest.mark.parametrize(("seconds", "is_right"), [(-60, 0), (30, 1), (60, 0)])
def test_a_clock_may_differ_by_one_step(client, person, start, seconds, is_right):
    secret, _ = set_up(person("ada"))
    sign_in(client, "ada")
    client.post(CODE, {"code": code_of(secret, seconds=seconds)})
    assert is_in(client) == bool(is_right)


def test_a_recovery_code_signs_in_once(person, start):
    _, codes = set_up(person("ada"))
    typed = f" {codes[3].upper()} "
    for expected in (True, False):
        client = Client()
        sign_in(client, "ada")
        client.post(CODE, {"code": typed})
        assert is_in(client) == expected
    assert RecoveryCode.objects.filter(used_at=None).count() == 9


def test_wrong_codes_are_throttled_and_say_how_long(client, person, start):
    secret, codes = set_up(person("ada"))
    sign_in(client, "ada")
    for _ in range(6):
        assert (
            b"This code is wrong"
            in client.post(CODE, {"code": wrong_code(secret)}).content
        )
    for code in (code_of(secret), codes[0]):
        assert b"Wait 15 minutes" in client.post(CODE, {"code": code}).content
    assert not is_in(client)
    start(minutes=15)
    sign_in(client, "ada")
    assert client.post(CODE, {"code": code_of(secret)}).status_code == 302


def test_a_locked_name_is_not_told_that_its_password_was_right(person):
    set_up(person("ada"))
    for _ in range(6):
        sign_in(Client(), "ada", "wrong wrong wrong")
    right, wrong = sign_in(Client(), "ada"), sign_in(Client(), "ada", "wrong again")
    assert right.status_code == wrong.status_code == 429
    pages = [re.sub(r"[A-Za-z0-9]{64}", "TOKEN", page.text) for page in (right, wrong)]
    assert pages[0] == pages[1]


def test_the_second_step_ends_after_five_minutes_or_with_a_new_password(
    client, person, start
):
    ada = person("ada")
    secret, _ = set_up(ada)
    sign_in(client, "ada")
    start(minutes=6)
    client.post(CODE, {"code": code_of(secret)})
    assert not is_in(client)
    sign_in(client, "ada")
    ada.refresh_from_db()
    ada.set_own_password("seven green kettles hum")
    client.post(CODE, {"code": code_of(secret)})
    assert not is_in(client)


def test_nobody_without_the_first_step_sees_the_second(client, person):
    set_up(person("ada"))
    assert b'name="password"' in client.get(CODE).content
    assert b'name="password"' in client.post(CODE, {"code": "123456"}).content


def test_what_was_typed_comes_through_the_second_step(person, start):
    ada = person("ada")
    browser = Browser()
    browser.sign_in("ada")
    browser.look()
    secret, _ = set_up(ada)
    asked = browser.send(make.customer().get_absolute_url(), {"name": "Kept Kim"})
    page = browser.sign_in("ada", asked)
    told = hidden(page) | {"code": code_of(secret)}
    assert b"Kept Kim" in browser.post(CODE, told).content


def test_a_code_confirms_too(client, owner, start):
    secret, _ = set_up(owner)
    client.force_login(owner)
    start(minutes=11)
    assert client.get(reverse("staff:add")).status_code == 302
    told = {"code": wrong_code(secret)}
    assert b"This code is wrong" in client.post("/staff/confirm/", told).content
    told = {"code": code_of(secret), "next": reverse("staff:add")}
    assert client.post("/staff/confirm/", told).url == reverse("staff:add")
    assert client.get(reverse("staff:add")).status_code == 200


# --- changing and removing it -----------------------------------------------------


def test_new_recovery_codes_replace_the_earlier_ones(client, owner, start):
    _, codes = set_up(owner)
    client.force_login(owner)
    shown = client.post(reverse("staff:recovery_codes")).context["codes"]
    owner.refresh_from_db()
    now = timezone.now()
    assert not second_factor.accept_code(owner, codes[0], at=now)
    assert second_factor.accept_code(owner, shown[0], at=now)


def test_removing_it_ends_other_sessions(client, owner, start):
    set_up(owner)
    client.force_login(owner)
    other = Client()
    other.force_login(owner)
    client.post(reverse("staff:remove_second_factor"))
    assert is_in(client) and not is_in(other)
    assert sign_in(Client(), "olga").status_code == 302
    assert not RecoveryCode.objects.exists()


def test_an_owner_removes_that_of_a_member_who_lost_the_phone(client, owner, person):
    ben = person("ben", Role.BENCH)
    set_up(ben)
    theirs = Client()
    theirs.force_login(ben)
    assert b"Remove second factor" in client.get(ben.get_absolute_url()).content
    client.post(reverse("staff:remove_member_factor", args=[ben.pk]))
    assert not is_in(theirs)
    assert sign_in(Client(), "ben").status_code == 302


def test_a_new_passphrase_does_not_pass_by_the_second_factor(client, owner, person):
    ben = person("ben", Role.BENCH)
    set_up(ben)
    told = client.post(reverse("staff:reset", args=[ben.pk])).context["passphrase"]
    theirs = Client()
    assert b'name="code"' in sign_in(theirs, "ben", told).content
    assert not is_in(theirs)


def test_the_command_for_a_locked_out_owner_removes_it(owner, capsys):
    set_up(owner)
    call_command("reset_owner", "olga")
    told = re.search(r"Passphrase for olga: (\S+)", capsys.readouterr().out)[1]
    assert sign_in(Client(), "olga", told).url == "/"


# --- required for owners ----------------------------------------------------------


def test_an_owner_is_led_to_it_and_may_postpone_it(client, person):
    person("olga")
    make.shop(owners_need_second_factor=True)
    led = sign_in(client, "olga", next="/staff/devices/").url
    assert led == f"{PAGE}?next=/staff/devices/"
    page = client.get(led).content.decode()
    assert "You can postpone it until" in page and ">Later</a>" in unescape(page)
    assert client.get("/").status_code == 200


def test_after_seven_days_an_owner_reaches_nothing_else(person):
    owner = person("olga")
    make.shop(owners_need_second_factor=True)
    pages = set(SHUT) - ALLOWED_BEFORE_SECOND_FACTOR
    User.objects.filter(pk=owner.pk).update(
        created_at=timezone.now() - timedelta(days=7)
    )

    def is_right(name, response):
        return response.get("Location") == PAGE

    assert offenders(pages, is_right, user=owner) == []


@pytest.mark.parametrize(("role", "asks"), [(Role.BENCH, True), (Role.OWNER, False)])
def test_others_and_shops_that_say_so_do_not_need_it(client, person, role, asks):
    user = person("ada", role)
    make.shop(owners_need_second_factor=asks)
    User.objects.filter(pk=user.pk).update(
        created_at=timezone.now() - timedelta(days=99)
    )
    assert sign_in(client, "ada").url == "/"
    assert client.get("/").status_code == 200


def test_the_trail_shows_what_happened_to_it(client, owner, start):
    _, codes = set_up(owner)
    sign_in(Client(), "olga")
    theirs = Client()
    sign_in(theirs, "olga")
    theirs.post(CODE, {"code": "nonsense"})
    theirs.post(CODE, {"code": codes[0]})
    client.force_login(owner)
    client.post(reverse("staff:end_device"))
    client.post(reverse("staff:recovery_codes"))
    client.post(reverse("staff:remove_second_factor"))
    events = TrailEntry.objects.filter(kind="shopdesk.user", record=owner.pk)
    events = events.exclude(action__in=[*CHANGES, "signed_in"]).order_by("id")
    assert list(events.values_list("action", flat=True)) == [
        "factor_added",
        "wrong_secret",
        "recovery_code_used",
        "sessions_ended",
        "codes_replaced",
        "factor_removed",
    ]
    assert codes[0] not in str(list(TrailEntry.objects.values_list("details")))


@pytest.mark.django_db(transaction=True)
def test_codes_sent_at_once_are_not_checked_more_often_than_one_by_one(person):
    secret, _ = set_up(person("ada"))
    client = Client()
    sign_in(client, "ada")
    key = client.cookies["sessionid"].value

    def guess():
        other = Client()
        other.cookies["sessionid"] = key
        pages.append(other.post(CODE, {"code": wrong_code(secret)}).text)

    pages = []
    assert all_at_once(*[guess] * 12) == []
    checked = sum("This code is wrong" in page for page in pages)
    refused = sum("Too many wrong attempts" in page for page in pages)
    assert checked <= 6 and checked + refused == 12
