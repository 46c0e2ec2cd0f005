import pytest

from shopdesk.staff.models import Role
from tests import make

PASSWORD = "four quiet lamps on a sill"


@pytest.fixture(autouse=True)
def quick_hashes(settings, request):
    """Hashing is slow on purpose; only the tests about it need that."""
    if "slow_hashes" not in request.fixturenames:
        settings.PASSWORD_HASHERS = [
            "django.contrib.auth.hashers.MD5PasswordHasher",
            *settings.PASSWORD_HASHERS,
        ]


@pytest.fixture
def slow_hashes():
    """Asks for the hashing of the real shop."""


@pytest.fixture
def person(db):
    """Makes somebody who signs in with PASSWORD."""

    # Signing in by the page would otherwise lead owners to set one up.
    make.shop(owners_need_second_factor=False)

    def make_person(username, role=Role.OWNER, **facts):
        user = make.user(role, username=username, name=username.title(), **facts)
        user.set_password(PASSWORD)
        user.save()
        return user

    return make_person


@pytest.fixture
def owner(person, client):
    """An owner, signed in."""
    user = person("olga")
    client.force_login(user)
    return user
