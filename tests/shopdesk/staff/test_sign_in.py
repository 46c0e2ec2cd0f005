import re
from datetime import timedelta
from statistics import median
from time import perf_counter

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopdesk.staff.models import Role, Session, User
from tests import make
from tests.shopdesk.staff.conftest import PASSWORD

SIGN_IN = "/staff/sign-in/"
HOME = "/staff/password/"  # any page that everybody may open


def sign_in(client, username, password=PASSWORD, **more):
    return client.post(SIGN_IN, {"username": username, "password": password} | more)


def is_in(client):
    return client.get(HOME).status_code == 200


def test_the_right_password_opens_today(client, person):
    person("ada")
    response = sign_in(client, "ada")
    assert (response.status_code, response.url) == (302, "/")
    assert is_in(client)


def test_capitals_and_spaces_around_the_name_do_not_matter(client, person):
    person("ada")
    assert sign_in(client, " ADA ").status_code == 302


def test_a_wrong_password_keeps_the_name_and_lets_nobody_in(client, person):
    person("ada")
    response = sign_in(client, "ada", "wrong wrong wrong")
    assert "Wrong sign-in name or password." in response.content.decode()
    assert 'value="ada"' in response.content.decode()
    assert b"wrong wrong wrong" not in response.content
    assert not is_in(client)


@pytest.mark.parametrize(
    "password",
    [
        "x" * 7 + "y" * 57,
        "ab" * 60 + "c" * 8,
        "🔧 mend  the 🔋 well ",
        "\t15 blanks inside",
    ],
)
def test_a_password_is_taken_exactly_as_typed(client, person, password):
    """ASVS 6.2.8 and 6.2.9: long ones, emoji and spaces, nothing cut off."""
    user = person("ada")
    user.set_password(password)
    user.save()
    assert sign_in(Client(), "ada", password.strip() + "x").status_code == 200
    if password != password.strip():
        assert sign_in(Client(), "ada", password.strip()).status_code == 200
    assert sign_in(client, "ada", password).status_code == 302


def test_an_unknown_name_and_a_wrong_password_get_the_same_page(client, person):
    """ASVS 6.3.8: who works here is not told to strangers."""
    person("ada")
    person("gone", is_active=False)
    pages = set()
    for name, password in [("ada", "no"), ("bob", PASSWORD), ("gone", PASSWORD)]:
        page = sign_in(Client(), name, password)
        text = page.content.decode().replace(f'"{name}"', '"NAME"')
        text = re.sub(r"[A-Za-z0-9]{64}", "TOKEN", text)
        pages.add((page.status_code, text))
    assert len(pages) == 1


def test_an_unknown_name_takes_as_long_as_a_wrong_password(
    person, slow_hashes, settings
):
    settings.AXES_ENABLED = False
    settings.AUTHENTICATION_BACKENDS = settings.AUTHENTICATION_BACKENDS[1:]
    person("ada")

    def seconds(name):
        start = perf_counter()
        sign_in(Client(), name, "wrong wrong wrong")
        return perf_counter() - start

    taken = [(seconds("ada"), seconds("bob")) for _ in range(9)]
    known, unknown = (median(times) for times in zip(*taken, strict=True))
    assert 1 / 1.5 < known / unknown < 1.5


@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://example.com/",
        "//example.com",
        "javascript:alert(1)",
        "/\\example.com",
        "http:///x",
    ],
)
def test_nobody_is_sent_to_another_place_after_signing_in(client, person, elsewhere):
    person("ada")
    response = client.post(
        SIGN_IN, {"username": "ada", "password": PASSWORD, "next": elsewhere}
    )
    assert response.url == "/"


def test_after_signing_in_one_is_where_one_wanted_to_be(client, person):
    person("ada")
    asked = client.get(HOME)
    assert asked.url == f"{SIGN_IN}?next={HOME}"
    page = client.get(asked.url).content.decode()
    assert f'name="next" value="{HOME}"' in page
    response = client.post(
        SIGN_IN, {"username": "ada", "password": PASSWORD, "next": HOME}
    )
    assert response.url == HOME


# --- guessing -----------------------------------------------------------------


def lock(name, address="10.0.0.1"):
    for _ in range(6):
        last = sign_in(Client(REMOTE_ADDR=address), name, "wrong wrong wrong")
    return last


def test_six_wrong_tries_lock_this_name_at_this_place_only(person):
    person("ada")
    person("bob")
    assert lock("ada").status_code == 429
    here, there = Client(REMOTE_ADDR="10.0.0.1"), Client(REMOTE_ADDR="10.0.0.2")
    refused = sign_in(here, "ada")
    assert refused.status_code == 429 and b"Wait 15 minutes" in refused.content
    assert sign_in(here, "bob").status_code == 302
    assert sign_in(there, "ada").status_code == 302


def test_a_lock_ends_by_itself(person):
    person("ada")
    lock("ada")
    client = Client(REMOTE_ADDR="10.0.0.1")
    with time_machine.travel(timezone.now() + timedelta(minutes=16)):
        assert sign_in(client, "ada").status_code == 302


@pytest.mark.parametrize("other", ["ADA", " Ada", "aDa "])
def test_another_spelling_of_the_name_gives_no_more_tries(person, other):
    person("ada")
    lock("ada")
    assert sign_in(Client(REMOTE_ADDR="10.0.0.1"), other).status_code == 429


def test_a_made_up_address_gives_no_more_tries(person):
    person("ada")
    lock("ada")
    client = Client(REMOTE_ADDR="10.0.0.1", headers={"x-forwarded-for": "10.9.9.9"})
    assert sign_in(client, "ada").status_code == 429


def test_an_unknown_name_is_locked_like_a_known_one(person):
    person("ada")
    assert lock("nobody").status_code == lock("ada").status_code == 429


def test_a_new_passphrase_from_the_owner_lifts_the_lock(person):
    ada = person("ada", Role.BENCH)
    lock("ada")
    desk = Client()
    desk.force_login(person("olga"))
    told = desk.post(reverse("staff:reset", args=[ada.pk])).context["passphrase"]
    assert sign_in(Client(REMOTE_ADDR="10.0.0.1"), "ada", told).status_code == 302


# --- sessions -----------------------------------------------------------------


def test_signing_in_changes_the_session_key(client, person):
    person("ada")
    client.get(SIGN_IN)
    session = client.session
    session["mark"] = 1
    session.save()
    before = session.session_key
    sign_in(client, "ada")
    assert client.session.session_key != before


def test_signing_out_ends_the_session_on_the_server(client, person):
    person("ada")
    sign_in(client, "ada")
    kept = client.cookies["sessionid"].value
    response = client.post("/staff/sign-out/")
    assert response.url == SIGN_IN
    assert response["Clear-Site-Data"] == '"cache", "storage"'
    assert "no-store" in response["Cache-Control"]
    client.cookies["sessionid"] = kept
    assert not is_in(client)
    assert not Session.objects.exists()


def test_a_link_can_not_sign_anybody_out(client, owner):
    assert client.get("/staff/sign-out/").status_code == 405
    assert is_in(client)


def test_the_session_cookie_is_out_of_reach_for_scripts_and_other_places(
    client, person
):
    person("ada")
    cookie = sign_in(client, "ada").cookies["sessionid"]
    assert cookie["httponly"] and cookie["samesite"] == "Lax" and not cookie["domain"]


def test_four_hours_without_a_request_sign_out(client, person):
    person("ada")
    start = timezone.now()
    with time_machine.travel(start) as clock:
        sign_in(client, "ada")
        clock.move_to(start + timedelta(hours=3, minutes=59))
        assert is_in(client)
        clock.move_to(start + timedelta(hours=8))
        assert not is_in(client)


def test_a_day_at_work_ends_after_twelve_hours_however_busy(client, person):
    person("ada")
    start = timezone.now()
    with time_machine.travel(start) as clock:
        sign_in(client, "ada")
        for hour in range(1, 12):
            clock.move_to(start + timedelta(hours=hour))
            assert is_in(client)
        clock.move_to(start + timedelta(hours=12, minutes=1))
        assert not is_in(client)


def test_looking_at_pages_does_not_write_each_time(
    client, person, django_assert_num_queries
):
    person("ada")
    sign_in(client, "ada")
    with django_assert_num_queries(3):  # session, person, shop
        client.get(HOME)


def test_a_part_of_a_page_sends_the_whole_page_to_sign_in(client, db):
    make.user()
    response = client.get(
        HOME,
        headers={"hx-request": "true", "hx-current-url": "http://testserver/bench/7/"},
    )
    assert response["HX-Redirect"] == f"{SIGN_IN}?next=/bench/7/"


def test_a_sign_in_page_with_nobody_to_sign_in_leads_to_set_up(client, db):
    assert not User.objects.exists()
    assert client.get(SIGN_IN).url == "/staff/set-up/"


def test_characters_that_nobody_sees_in_the_name_do_not_count(client, person):
    person("ada")
    assert sign_in(client, "ada\x00\u200b").status_code == 302
    assert client.session["_auth_user_id"]


# --- behind a proxy, and one address with many names ------------------------------


@pytest.mark.parametrize("proxies", [0, 1])
def test_a_lock_counts_the_address_that_our_own_proxy_saw(person, settings, proxies):
    """Anybody can send the header; only a proxy of ours adds to its right end."""
    settings.PROXIES = proxies
    person("ada")

    def visit(sent, password="wrong wrong wrong"):
        client = Client(REMOTE_ADDR="10.0.0.1", headers={"x-forwarded-for": sent})
        return sign_in(client, "ada", password).status_code

    for n in range(6):
        visit(f"10.9.9.{n}, 203.0.113.7")
    assert visit("10.7.7.7, 203.0.113.7", PASSWORD) == 429
    assert visit("203.0.113.7, 198.51.100.1", PASSWORD) == (302 if proxies else 429)


def test_a_visitor_by_ipv6_is_locked_in_all_of_their_network(person):
    person("ada")
    lock("ada", "2001:db8:1:2::1")
    near, far = Client(REMOTE_ADDR="2001:db8:1:2::9"), Client(REMOTE_ADDR="2001:db8::1")
    refused = sign_in(near, "ada")
    assert refused.status_code == 429 and int(refused["Retry-After"]) == 900
    assert sign_in(far, "ada").status_code == 302


def test_one_address_may_not_try_ever_more_names(person):
    person("ada")
    here, there = Client(REMOTE_ADDR="10.0.0.1"), Client(REMOTE_ADDR="10.0.0.2")
    start = timezone.now()
    with time_machine.travel(start, tick=False) as clock:
        for n in range(30):
            assert sign_in(here, f"name{n}").status_code == 200
        clock.move_to(start + timedelta(minutes=5))
        refused = sign_in(here, "ada")
        assert refused.status_code == 429 and refused["Retry-After"] == "600"
        assert b"Wait 10 minutes" in refused.content
        assert sign_in(there, "ada").status_code == 302
        clock.move_to(start + timedelta(minutes=15))
        assert sign_in(here, "ada").status_code == 302


def test_who_signs_in_rightly_is_never_too_many(person):
    person("ada")
    for _ in range(32):
        assert sign_in(Client(), "ada").status_code == 302
