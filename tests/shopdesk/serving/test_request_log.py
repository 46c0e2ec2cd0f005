"""The log says what happened, and nothing about a person."""

import logging
import re
import sqlite3

import pytest

from tests.shopdesk.serving.conftest import PASSWORD, Visitor, running

LINE = re.compile(
    r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ"
    r" (request [A-Z]+ /\S* [1-5]\d\d \d+ms|security [a-z_]+)"
    r" user=((?:token)?\d+|-) id=[0-9a-f]{12}"
)

pytestmark = pytest.mark.once
NAME, PHONE, TOKEN = "Wilhelmina Canary", "01632960177", "TOKENcanaryTOKEN" * 2
MISTYPED, WRONG = "typed-in-the-wrong-box", "not-the-right-password"


@pytest.fixture(scope="module")
def log(shop_file, tmp_path_factory):
    """The log of a server that was told names, numbers, secrets, and that failed."""
    with running(shop_file, tmp_path_factory.mktemp("log")) as server:
        yield tell(server)


def tell(server):
    stranger, staff = Visitor(server.port), Visitor(server.port)
    for _ in range(7):
        stranger.sign_in(MISTYPED, WRONG)
    stranger.get(f"/q/{TOKEN}/")
    stranger.get(f"/Q/{TOKEN}/quote.pdf?name={NAME.split()[0]}")
    stranger.get(f"/none/{PHONE}/{NAME.split()[1]}")
    server.get("/", Host=f"{PHONE}.example")
    stranger.token = "wrong"
    stranger.post("/staff/sign-in/", username=MISTYPED, password=WRONG)
    assert staff.sign_in().status == 302
    staff.get("/find/?q=Wilhelmina+Canary&phone=" + PHONE)
    staff.get("/intake/?name=Wilhelmina")
    counter = Visitor(server.port)
    counter.sign_in("perrin")
    assert counter.get("/staff/").status == 403
    staff.get("/staff/confirm/")
    staff.post("/staff/confirm/", password=WRONG)
    staff.post("/staff/add/", name=NAME, username=MISTYPED, role="bench")
    with sqlite3.connect(server.data / "desk.sqlite3") as database:
        database.execute("ALTER TABLE repairs_customer RENAME TO gone")
    failed = staff.get(f"/find/?q=Wilhelmina+{PHONE}")
    assert failed.status == 500
    page = Visitor(server.port)
    assert page.get("/health/").status == 200
    server.failed_id = re.search(r"<code>(\w+)</code>", failed.text)[1]
    return server


def test_no_line_holds_a_name_a_number_or_a_secret(log):
    words = [*NAME.split(), PHONE, MISTYPED, WRONG, PASSWORD, "canary", "csrf"]
    text = re.sub(r"The shop runs at.*", "", log.log)
    assert [word for word in words if word.lower() in text.lower()] == []
    assert "127.0.0.1" not in text and text.count("Traceback") <= 2  # of one failure


def test_each_request_has_one_line_of_the_one_format(log):
    requests = [line for line in log.log.splitlines() if " request " in line]
    events = [line for line in log.log.splitlines() if " security " in line]
    assert [line for line in requests + events if not LINE.fullmatch(line)] == []
    ids = [line.rpartition("id=")[2] for line in requests]
    assert len(ids) == len(set(ids)) > 25
    assert {line.rpartition("id=")[2] for line in events} <= set(ids)
    found = {line.split()[2] for line in events}
    assert found == {
        *("sign_in_failed", "throttled", "wrong_host", "form_refused"),
        *("confirmation_failed", "refused"),
    }
    assert sum("GET /find/ 200" in line for line in requests) == 1
    assert any(re.search(r"POST /staff/sign-in/ 302 .*user=1 ", x) for x in requests)


def test_the_id_on_the_page_of_a_failure_finds_its_traceback(log):
    lines = [line for line in log.log.splitlines() if f"id={log.failed_id}" in line]
    error = re.compile(r"\d{4}-\d\d-\d\dT[\d:]{8}Z ERROR id=\w+ .*: /find/")
    assert any(error.fullmatch(line) for line in lines)
    assert any(" request GET /find/ 500 " in line for line in lines)
    assert "no such table: repairs_customer" in log.log


def test_values_that_postgresql_repeats_are_left_out():
    from django.conf import settings

    from billing.customer_page.log_masking import MaskedFormatter

    assert "MaskedFormatter" in settings.LOGGING["formatters"]["masked"]["()"]
    text = f"duplicate key\nDETAIL:  Key (name)=({NAME}) already exists.\nmore"
    record = logging.makeLogRecord({"msg": text, "levelname": "ERROR"})
    written = MaskedFormatter().format(record)
    assert NAME not in written and "duplicate key" in written and "more" in written
