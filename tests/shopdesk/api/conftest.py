import pytest

from shopdesk.api.actions import create_token
from tests import make

LISTS = "jobs repairs parts invoices payments customers faults fixes".split()
PATHS = [*LISTS, "comeback-table"]


@pytest.fixture
def document(client, db):
    make.shop()
    return client.get("/api/openapi.json").json()


@pytest.fixture
def token_of(db):
    """Create a token with this scope; the value is its record and its text."""

    def create(*, costs=False, personal=False, days=30, by=None, at=None):
        stamp = make.stamp(at, by=by or make.user())
        name = f"Token of {stamp.by}"
        scope = {"shows_costs": costs, "shows_personal_data": personal}
        return create_token(name=name, days=days, stamp=stamp, **scope)

    return create


@pytest.fixture
def ask(client):
    """Ask the API for a list with a token."""

    def get(path, text, **params):
        headers = {"Authorization": f"Bearer {text}"}
        return client.get(f"/api/v1/{path}", params, headers=headers)

    return get
