import pytest

from tests import make


@pytest.fixture
def owner(client, db):
    user = make.user()
    client.force_login(user)
    return user
