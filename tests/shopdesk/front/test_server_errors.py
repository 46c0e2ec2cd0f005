"""A database that is busy, full or read-only loses no entry and needs no restart."""

import errno
import sqlite3
from contextlib import contextmanager
from time import time

import pytest
from django.conf import settings
from django.db import connection, connections

from repairs.jobs import states
from repairs.jobs.models import Job, Labour
from shopdesk.front import server_errors
from shopdesk.sent_forms import responses
from shopdesk.staff.models import Role
from tests import make
from tests.sent_forms import typed_in

NOTE = 'no 5 V behind F2, see "C12" & <R4>'


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.OWNER))
    client.raise_request_exception = False
    return client


@contextmanager
def busy():
    """Another process writes for longer than one waits."""
    if connection.vendor == "sqlite":
        other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
        _execute("PRAGMA busy_timeout=50")
        other.execute("BEGIN IMMEDIATE")
        try:
            yield
        finally:
            other.close()
        return
    other = connections.create_connection("default")
    _execute("SET lock_timeout='50ms'")
    with other.cursor() as cursor:
        cursor.execute("BEGIN; LOCK TABLE repairs_job IN ACCESS EXCLUSIVE MODE")
    try:
        yield
    finally:
        other.close()
        _execute("SET lock_timeout='20s'")


@contextmanager
def read_only():
    on, off = {
        "sqlite": ("PRAGMA query_only=ON", "PRAGMA query_only=OFF"),
        "postgresql": (
            "SET default_transaction_read_only=on",
            "SET default_transaction_read_only=off",
        ),
    }[connection.vendor]
    _execute(on)
    try:
        yield
    finally:
        _execute(off)


@contextmanager
def full():
    """SQLite's own limit of pages gives the same error as a full disk."""
    if connection.vendor != "sqlite":
        pytest.skip("a full disk is tested with SQLite's own limit of pages")
    _execute("VACUUM")  # no free pages are left
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        pages = cursor.fetchone()[0]
    _execute(f"PRAGMA max_page_count={pages}")
    try:
        yield
    finally:
        _execute("PRAGMA max_page_count=1073741823")


def _execute(sql):
    with connection.cursor() as cursor:
        cursor.execute(sql)


CAUSES = [
    (busy, "The database is busy"),
    (full, "The disk is full"),
    (read_only, "The database is read-only"),
]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("cause", "heading"), CAUSES)
def test_the_entries_come_back_and_are_saved_when_the_cause_is_gone(
    desk, cause, heading
):
    job = make.job()
    page = f"{job.get_absolute_url()}findings/"
    notes = NOTE * 110 if cause is full else NOTE  # more than fits in a free page
    sent = {"findings-notes": notes, "form_key": "a-key"}
    with cause():
        failed = desk.post(page, sent)
        by_htmx = desk.post(page, sent, headers={"HX-Request": "true"})
    assert failed.status_code == 503 and failed["Retry-After"]
    assert heading in failed.text and "not saved twice" in failed.text
    assert not Job.objects.exclude(bench_notes="").exists()
    assert by_htmx.status_code == 503
    assert by_htmx["Content-Type"].startswith("text/plain")
    assert by_htmx.text.startswith(f"{heading}. ")
    kept = typed_in(failed)
    assert kept["findings-notes"] == notes
    assert desk.post(page, kept).status_code == 302
    assert Job.objects.get(pk=job.pk).bench_notes == notes


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("cause", [busy, read_only])
def test_pages_can_be_read_meanwhile(desk, cause):
    if cause is busy and connection.vendor == "postgresql":
        pytest.skip("there the lock is on the table itself")
    session = desk.session
    now = int(time())
    session.update({"since": now - 900, "seen": now - 600})  # it would be noted now
    session.save()
    make.job()
    with cause():
        assert desk.get("/bench/").status_code == 200
    assert desk.get("/bench/").status_code == 200


@pytest.mark.django_db
def test_after_saving_the_page_says_so_and_offers_no_second_sending(desk, monkeypatch):
    fault = make.fault()
    job = make.job(state=states.APPROVED)
    repair = make.repair(job, fault, fix=make.fix(fault))

    def fail(*args, **facts):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(responses, "encrypt", fail)
    sent = {"minutes-minutes": "5", "minutes-repair": repair.pk, "form_key": "a-key"}
    failed = desk.post(f"{job.get_absolute_url()}book_minutes/", sent)
    assert (failed.status_code, Labour.objects.count()) == (503, 1)
    assert "Your entries were saved before this happened." in failed.text
    assert "Send again" not in failed.text


@pytest.mark.parametrize(
    ("error", "heading"),
    [
        (OSError(errno.EROFS, "x"), "The database is read-only"),
        (OSError(errno.EACCES, "x"), "Server error"),
        (ValueError("database is locked"), "Server error"),  # no database said so
    ],
)
def test_other_errors_are_named_by_what_they_are(error, heading):
    assert server_errors.cause_of(error).heading == heading


@pytest.mark.django_db
def test_a_damaged_file_is_named_with_the_command(desk, monkeypatch, tmp_path):
    file = tmp_path / "damaged.sqlite3"
    file.write_bytes(b"SQLite format 3\0" + b"\x55" * 8000)
    from django.db.backends.sqlite3.base import DatabaseWrapper

    damaged = DatabaseWrapper(
        settings.DATABASES["default"] | {"ENGINE": "", "NAME": file, "OPTIONS": {}},
        alias="damaged",
    )
    try:
        with damaged.cursor() as cursor:
            cursor.execute("SELECT * FROM sqlite_master")
    except Exception as error:
        cause = server_errors.cause_of(error)
        assert cause.heading == "The database file is damaged"
        assert "manage.py restore" in cause.sentence
    else:
        pytest.fail("SQLite read a damaged file")


@pytest.mark.django_db
def test_a_customer_is_not_told_what_the_server_lacks(client, monkeypatch):
    def fail(*args, **facts):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("shopdesk.staff.link_pages.seconds_to_wait", fail)
    client.raise_request_exception = False
    page = client.get("/q/unknown/")
    assert page.status_code == 503
    assert "This page is not available" in page.text and "disk" not in page.text
