from datetime import timedelta

import pytest
import time_machine
from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import (
    CommonPasswordValidator,
    validate_password,
)
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from shopdesk.staff.models import User
from shopdesk.staff.passphrases import LETTERS, is_repetition, random_passphrase
from tests import make
from tests.shopdesk.staff.conftest import PASSWORD

OTHER = "seven green kettles hum"
PAGE = "/staff/password/"


def change(client, current=PASSWORD, new=OTHER, again=None):
    told = {
        "current": current,
        "password": new,
        "again": new if again is None else again,
    }
    return client.post(PAGE, told)


def is_accepted(password):
    try:
        validate_password(password)
    except ValidationError:
        return False
    return True


def has_password(user, password):
    return User.objects.get(pk=user.pk).check_password(password)


def test_changing_it_needs_the_current_one(client, owner):
    for current in ("", "not this one at all"):
        assert change(client, current).status_code == 200
    assert has_password(owner, PASSWORD)


def test_changing_it_keeps_this_session_and_ends_the_others(client, owner):
    other = Client()
    other.force_login(owner)
    assert change(client).status_code == 302
    assert client.get(PAGE).status_code == 200
    assert other.get(PAGE).status_code == 302
    assert has_password(owner, OTHER)


def test_two_different_new_ones_are_refused(client, owner):
    response = change(client, again="seven green kettles")
    assert b"do not match" in response.content
    assert has_password(owner, PASSWORD)


def test_the_same_password_again_is_refused(client, owner):
    assert b"Choose a different password" in change(client, new=PASSWORD).content


@pytest.mark.parametrize(
    "weak",
    [
        "fourteen chars",
        "Fern Lane Repairs 2026!",
        "fernlanefernlane",
        "passwordpassword",
        "123456789012345",
        "olga.olga.olga.olga",
        "The Repair Bench 1",
    ],
)
def test_what_anybody_here_would_try_first_is_refused(client, owner, weak):
    make.shop(name="Fern Lane Repairs")
    response = change(client, new=weak)
    assert response.status_code == 200 and response.context["form"].errors["password"]
    assert has_password(owner, PASSWORD)


@pytest.mark.parametrize(
    "good", ["aaaa bbbb cccc dddd", "482910384756192", "ferns grow on a wet wall"]
)
def test_no_kinds_of_characters_are_asked_for(client, owner, good):
    make.shop(name="Fern Lane Repairs")
    assert change(client, new=good).status_code == 302


def test_common_passwords_long_enough_are_all_refused(db):
    """Those of Django's own list of 20,000 that the length alone would let through."""
    long_enough = [p for p in CommonPasswordValidator().passwords if len(p) >= 15]
    assert len(long_enough) > 40
    assert [p for p in long_enough if is_accepted(p)] == []


@pytest.mark.parametrize("how", ["{0}{1}", "{0}-{0}-2026!", "{1} {0} 1", "{0}{0}"])
def test_common_passwords_made_long_enough_are_refused(db, how):
    """Every fourth of Django's list: with digits, again, or before another."""
    common = sorted(CommonPasswordValidator().passwords)
    words = [p for p in common if p.isascii() and p.isalpha() and len(p) >= 4][::4]
    assert len(words) > 2_000
    others = words[7:] + words[:7]
    made = (
        how.format(word, "123456789012" if how == "{0}{1}" else other)
        for word, other in zip(words, others, strict=True)
    )
    assert [p for p in made if len(p) >= 15 and is_accepted(p)] == []


def test_password_boxes_can_be_filled_by_a_password_keeper(client, owner):
    page = client.get(PAGE).content.decode()
    assert page.count('autocomplete="new-password"') == 2
    assert 'autocomplete="current-password"' in page and "onpaste" not in page


def test_passwords_are_kept_by_argon2id(client, owner, slow_hashes, settings):
    owner.set_password(OTHER)
    assert owner.password.startswith("argon2$argon2id$")


def test_an_older_hash_is_renewed_at_sign_in(client, person, slow_hashes):
    user = person("ada")
    user.password = make_password(PASSWORD, hasher="pbkdf2_sha256")
    user.save()
    client.post("/staff/sign-in/", {"username": "ada", "password": PASSWORD})
    user.refresh_from_db()
    assert user.password.startswith("argon2$argon2id$")


def test_random_passphrases_differ_and_pass_our_own_rules(db):
    made = {random_passphrase() for _ in range(200)}
    assert len(made) == 200
    for passphrase in made:
        validate_password(passphrase)
        assert set(passphrase) <= set(LETTERS) | {"-"}


@pytest.mark.parametrize("once", ["a", "ab" * 8 + "c", "x1y2z3w4v5u6t7s8"])
def test_one_thing_said_once_is_no_repetition(once):
    assert not is_repetition(once)


def test_the_current_password_can_not_be_guessed_for_long(client, owner):
    start = timezone.now()
    with time_machine.travel(start, tick=False) as clock:
        for _ in range(6):
            assert b"not your current" in change(client, current="a guess").content
        refused = change(client)
        assert b"Wait 15 minutes" in refused.content
        assert has_password(owner, PASSWORD)
        assert client.get(PAGE).status_code == 200
        clock.move_to(start + timedelta(minutes=15))
        assert change(client).status_code == 302
