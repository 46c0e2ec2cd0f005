"""A token opens the API until it ends, and is stored and logged nowhere."""

import logging
import re
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone

from shopdesk.api.bearer import TOKEN_LIMIT
from shopdesk.api.models import ApiToken
from shopdesk.recording.models import TrailEntry
from shopdesk.staff.link_pages import INVALID_LIMIT
from shopdesk.staff.models import Role
from shopdesk.staff.permissions import PUBLIC_URLS
from tests import make
from tests.billing.personal_data.canaries import everything
from tests.shopdesk.trail.entries import entries_of

PATHS = sorted(name.removeprefix("api:") for name in PUBLIC_URLS if "api:" in name)
NEW = "/api/new/"


@pytest.fixture
def owner(client, db):
    make.shop()
    user = make.user(Role.OWNER)
    client.force_login(user)
    return user


def entered(**changes):
    return {"name": "Stock figures", "days": "30", "form_key": "k1"} | changes


def token_on(page):
    return re.search(r"readonly>([\w-]{43})<", page.content.decode())[1]


def test_an_owner_creates_a_token_that_is_shown_once_and_not_stored(client, ask, owner):
    text = token_on(client.post(NEW, entered(shows_costs="on")))
    token = ApiToken.objects.get()
    assert (token.shows_costs, token.shows_personal_data) == (True, False)
    assert token.works_until - token.created_at == timedelta(days=30)
    assert ask("parts", text).status_code == 200
    page = client.get("/api/").content.decode()
    assert "Stock figures" in page and text not in page
    assert text not in everything()
    assert [action for action, _ in entries_of(token)] == ["created", "api_used"]
    client.post(f"/api/{token.pk}/revoke/", {"form_key": "k2"})
    assert ask("parts", text).status_code == 401
    assert entries_of(token)[-1][0] == "changed"


def test_two_tokens_cannot_have_one_name(client, owner):
    client.post(NEW, entered())
    page = client.post(NEW, entered(form_key="k2", shows_costs="on"))
    assert "There is a token of this name." in page.content.decode()
    assert b'value="Stock figures"' in page.content and ApiToken.objects.count() == 1


def test_a_token_ends(ask, token_of):
    token, text = token_of()
    with time_machine.travel(token.works_until - timedelta(seconds=5)):
        assert ask("parts", text).status_code == 200
    with time_machine.travel(token.works_until + timedelta(seconds=5)):
        answer = ask("parts", text)
    assert (answer.status_code, answer["Content-Type"].split(";")[0]) == (
        401,
        "application/json",
    )
    assert answer["WWW-Authenticate"] == 'Bearer realm="shop", error="invalid_token"'


@pytest.mark.parametrize("change", [{"is_active": False}, {"role": Role.BENCH}])
def test_a_token_ends_with_the_rights_of_who_created_it(ask, token_of, change):
    token, text = token_of()
    assert ask("parts", text).status_code == 200
    for name, value in change.items():
        setattr(token.created_by, name, value)
    token.created_by.save()
    assert ask("parts", text).status_code == 401


@pytest.mark.parametrize("path", PATHS)
def test_only_the_header_opens_the_api_and_only_for_reading(
    client, token_of, owner, path
):
    _, text = token_of(personal=True)
    url = f"/api/v1/{path.replace('_', '-')}"
    # A session is none, nor is a token in the address.
    for address in (url, f"{url}?token={text}", f"{url}?access_token={text}"):
        assert client.get(address).status_code == 401
    headers = {"Authorization": f"Bearer {text}"}
    for method in ("post", "put", "patch", "delete"):
        answer = getattr(client, method)(url, headers=headers)
        assert (answer.status_code, "GET" in answer["Allow"]) == (405, True)
    answer = client.get(url, headers=headers)
    assert (answer.status_code, answer["Cache-Control"]) == (200, "no-store, private")


@pytest.mark.parametrize(
    "header", ["", "Bearer", "Bearer x", "Basic eDp4", "Bearer \0"]
)
def test_what_is_no_token_is_refused_and_soon_not_looked_up(client, db, header):
    make.shop()
    headers = {"Authorization": header} if header else {}
    answers = [
        client.get("/api/v1/jobs", headers=headers)
        for _ in range(INVALID_LIMIT.requests + 1)
    ]
    assert {answer.status_code for answer in answers[:-1]} == {401}
    assert answers[-1].status_code == 429
    assert 1 <= int(answers[-1]["Retry-After"]) <= 60
    assert "Wait" in answers[-1].json()["detail"]


def test_a_script_that_asks_too_often_has_to_wait(ask, token_of, monkeypatch):
    monkeypatch.setattr("shopdesk.api.bearer.TOKEN_LIMIT", type(TOKEN_LIMIT)(3))
    (_, text), (_, other) = token_of(), token_of()
    codes = [ask("parts", text).status_code for _ in range(4)]
    assert codes == [200, 200, 200, 429]
    assert ask("parts", other).status_code == 200


def test_the_log_names_the_token_by_its_number_and_never_its_text(ask, token_of):
    token, text = token_of(personal=True)
    lines = []
    handler = logging.Handler()
    handler.emit = lambda record: lines.append(record.getMessage())
    logger = logging.getLogger("shopdesk.requests")
    logger.addHandler(handler)
    try:
        ask("customers", text)
        ask("customers", f"{text}x")
    finally:
        logger.removeHandler(handler)
    assert (
        "GET /api/v1/customers 200" in lines[0] and f"user=token{token.pk} " in lines[0]
    )
    assert "security token_refused" in lines[2]
    assert text not in "\n".join(lines)


def test_each_day_of_use_is_one_entry_of_the_trail(ask, token_of):
    token, text = token_of()
    used = TrailEntry.objects.filter(action="api_used")
    noon = timezone.now().replace(hour=12, minute=0) + timedelta(days=1)
    for moment in (noon, noon + timedelta(minutes=1), noon + timedelta(hours=1)):
        with time_machine.travel(moment, tick=False):
            ask("parts", text)
    token.refresh_from_db()
    assert (used.count(), token.last_used_at) == (1, noon + timedelta(hours=1))
    with time_machine.travel(noon + timedelta(days=1)):
        ask("parts", text)
    assert used.count() == 2
    assert {(entry.source, entry.by) for entry in used} == {("API", None)}
