import pytest

from tests import make


@pytest.fixture
def job(db):
    return make.job(make.device(make.customer("Ada Fenwick")))


@pytest.fixture
def me(db):
    return make.user()


@pytest.fixture
def desk(client, me):
    client.force_login(me)
    return client
