import pytest
from django.core.cache import cache

from shopdesk.staff.models import Role
from tests import make

SIGN_IN = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture(autouse=True)
def _nothing_kept():
    """Records are kept from page to page, but not from test to test."""
    cache.clear()


@pytest.fixture
def me():
    return make.user(role="bench", name="Kim Okafor")


@pytest.fixture
def bench(client, me):
    client.force_login(me, SIGN_IN)
    return client


@pytest.fixture
def owner(client):
    client.force_login(make.user(Role.OWNER), SIGN_IN)
    return client
