"""The clock of the server is set back and forward while the shop is used."""

import re
import shutil
import subprocess
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection

from billing.invoices.models import Invoice
from billing.quotes.links import create_link
from tests import make
from tests.faults import sound
from tests.faults.busy_shop import COUNTER, form_of, the_job
from tests.faults.conftest import busy_shop, server_of_shop
from tests.shopdesk.serving.conftest import Visitor, wait_until

pytestmark = pytest.mark.once

# In the middle of a year, so that a few days more or less lead into no other one.
DAY = date(datetime.now(UTC).year + 1, 6, 15)
NOON = datetime(DAY.year, DAY.month, DAY.day, 12, tzinfo=UTC)


def library():
    """Return the library that gives a process another clock, or skip the test."""
    listed = shutil.which("dpkg") and subprocess.run(
        ["dpkg", "-L", "libfaketime"], capture_output=True, text=True, check=False
    )
    found = [
        line
        for line in (listed.stdout.splitlines() if listed else ())
        if line.endswith("libfaketimeMT.so.1")
    ]
    if not found:
        pytest.skip("libfaketime is not installed here (Debian: libfaketime)")
    return found[0]


# The library refuses to sleep until a moment of a clock that it leaves alone.
SLEEP = """
import select, time
time.sleep = lambda seconds: select.select((), (), (), seconds) and None
"""


class Clock:
    """The clock of the server: NOON, and what it is ahead of that."""

    def __init__(self, file: Path):
        self.file, self.begun = file, time.time()
        self.modules = file.with_name("modules")
        self.modules.mkdir()
        (self.modules / "sitecustomize.py").write_text(SLEEP)

    def settings(self):
        return {
            "LD_PRELOAD": library(),
            "PYTHONPATH": str(self.modules),
            "FAKETIME_TIMESTAMP_FILE": str(self.file),
            "FAKETIME_NO_CACHE": "1",
            # A real clock that jumps takes neither the counter nor the files with it.
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "NO_FAKE_STAT": "1",
        }

    def set(self, **ahead):
        shift = NOON.timestamp() - self.begun + timedelta(**ahead).total_seconds()
        part = self.file.with_suffix(".part")
        part.write_text(f"{shift:+.0f}\n")
        part.replace(self.file)


@pytest.fixture(scope="module")
def clock(tmp_path_factory):
    return Clock(tmp_path_factory.mktemp("clock") / "clock")


@pytest.fixture(scope="module")
def server(databases, django_db_setup, django_db_blocker, tmp_path_factory, clock):
    if connection.vendor != "sqlite":
        pytest.skip("the clock of PostgreSQL would stay as it is")
    clock.set()
    data = tmp_path_factory.mktemp("shop")
    with (
        busy_shop(databases, django_db_blocker),
        server_of_shop(data, **clock.settings()) as server,
    ):
        server.start()
        yield server


@pytest.fixture
def counter(server, clock):
    clock.set()
    return signed_in(server)


def signed_in(server):
    visitor = Visitor(server.port)
    assert visitor.sign_in(COUNTER).status == 302
    return visitor


def hand_over(visitor, number):
    """Hand the device over; return the page that follows."""
    path = f"/till/hand-back/{the_job(number).pk}/"
    sent = form_of(visitor.get(path), "", having="version") | {"amount": "0"}
    answer = visitor.post(path, **sent)
    return answer if answer.status == 200 else visitor.get(path)


def day(later):
    return f"{DAY + timedelta(days=later):%-d %B %Y}"


def invoices():
    found = Invoice.objects.order_by("id").values_list("series", "number", "issued_on")
    return list(found)


def test_a_clock_set_back_leaves_no_session_open_for_longer(server, counter, clock):
    other = signed_in(server)
    assert counter.get("/").status == 200
    clock.set(days=-2)
    assert counter.get("/").status == 302
    clock.set()
    assert other.get("/").status == 200


def test_numbers_ascend_and_refusals_name_both_dates(server, counter, clock):
    series, later = f"INV{DAY:%y}", DAY + timedelta(days=1)
    hand_over(counter, "T-READY0")
    clock.set(hours=-1)
    page = hand_over(counter, "T-READY1")
    assert "may be wrong" not in page.text
    assert invoices() == [(series, 1, DAY), (series, 2, DAY)]
    for ahead, refused in (
        ({"days": -3}, [f"dated {day(0)}", f"dated {day(-3)}"]),
        ({"days": -365}, ["INV", day(-365), day(0)]),
        ({"days": 3653}, ["INV", day(3653), day(0)]),
    ):
        clock.set(**ahead)
        other = signed_in(server)
        page = hand_over(other, "T-READY2")
        said = " ".join(re.sub(r"<[^>]+>", " ", page.text).split())
        assert [words for words in refused if words not in said] == [], said[:3000]
        assert "The date of the server may be wrong" in page.text
        assert len(invoices()) == 2
    # A day later, as it may be after a night without a clock.
    clock.set(days=1)
    page = hand_over(signed_in(server), "T-READY2")
    assert "may be wrong" not in page.text
    assert invoices()[2:] == [(series, 3, later)]
    assert list(sound.wrong()) == []


def test_what_has_expired_stays_so_when_the_clock_is_set_back(server, counter, clock):
    _, token = create_link(the_job("T-QUOTE"), stamp=make.stamp(on=DAY - timedelta(80)))
    customer = Visitor(server.port)
    assert counter.get("/").status == 200
    assert customer.get(f"/q/{token}/").status == 200
    # The server is off until the link and the session have expired.
    stop(server)
    clock.set(days=30)
    server.start()
    assert Visitor(server.port).get("/staff/sign-in/").status == 200
    # The old cookie was kept, by a thief perhaps.
    cookies = dict(counter.cookies)
    for ahead in ({"days": 30, "minutes": -50}, {"hours": 1}, {"days": -365}):
        clock.set(**ahead)
        counter.cookies = dict(cookies)
        assert counter.get("/").status == 302, ahead
        assert customer.get(f"/q/{token}/").status == 404, ahead


def stop(server):
    server.process.terminate()
    wait_until(lambda: server.process.poll() is not None)
