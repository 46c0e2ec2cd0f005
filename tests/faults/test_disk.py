"""What is acknowledged is on the disk; a full or read-only disk loses no entry."""

import re
import shutil
import signal
import sqlite3
import subprocess
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager

import pytest
from django.db import connection, connections

from repairs.jobs.models import Labour
from tests.faults import sound
from tests.faults.busy_shop import BENCH, minutes
from tests.faults.conftest import busy_shop, server_of_shop
from tests.faults.test_killed_server import workers
from tests.sent_forms import typed_in
from tests.shopdesk.serving.conftest import Visitor, wait_until

SIZE = "16m"


pytestmark = pytest.mark.once


@pytest.fixture(scope="module")
def small_disk(tmp_path_factory):
    """A disk of a few megabytes: a file system in memory."""
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL has its own disk, and its own care for it")
    folder = tmp_path_factory.mktemp("disk")
    mount = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "none", folder]
    mounted = subprocess.run(mount, capture_output=True, text=True, check=False)
    if mounted.returncode:
        pytest.skip(f"cannot mount a file system here: {mounted.stderr.strip()}")
    yield folder
    # Those of the server that are killed may still have files open for a moment.
    subprocess.run(["umount", "--lazy", folder], check=True)


@pytest.fixture(scope="module")
def server(databases, django_db_setup, django_db_blocker, small_disk, tmp_path_factory):
    """The server with all its data on that disk, and its log elsewhere."""
    with busy_shop(databases, django_db_blocker):
        before = connection.settings_dict["NAME"]
        connection.close()
        shutil.copy(before, small_disk / "desk.sqlite3")
        connection.settings_dict["NAME"] = str(small_disk / "desk.sqlite3")
        try:
            with server_of_shop(small_disk) as server:
                server.log_file = tmp_path_factory.mktemp("log") / "server.log"
                server.start()
                yield server
        finally:
            connection.close()
            connection.settings_dict["NAME"] = before


@pytest.fixture
def bench(server):
    visitor = Visitor(server.port)
    assert visitor.sign_in(BENCH).status == 302
    return visitor


@contextmanager
def traced(server, log):
    """Write down each time that the workers tell the disk to keep what they wrote."""
    strace = shutil.which("strace")
    if strace is None:
        pytest.skip("strace is not installed here")
    whom = [word for pid in workers(server) for word in ("-p", str(pid))]
    command = [strace, "-f", "-e", "trace=fsync,fdatasync", "-o", log, *whom]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    try:
        for _ in workers(server):
            said = process.stderr.readline()
            assert "attached" in said, said
        yield lambda: len(re.findall(r"^\d+ +f(?:data)?sync\(", log.read_text(), re.M))
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(timeout=20)


def test_every_acknowledged_form_was_written_to_the_disk(server, bench, tmp_path):
    with traced(server, tmp_path / "trace") as count:
        form = minutes(bench, 0)
        page = form.path.removesuffix("book_minutes/")
        # Each worker once notes the time at its first request.
        for _ in range(12):
            bench.get(page)
        before = settled(count)
        bench.get(page)
        assert count() == before, "looking at a page writes nothing"
        for n in range(5):
            form, before = minutes(bench, n), count()
            assert bench.post(form.path, **form.entries).status == 302
            assert count() > before
            assert notes(form.tag) == 1


def settled(count):
    """Return the count once it stays as it is: strace may be behind."""
    before = -1
    while before != (now := count()):
        before = now
        time.sleep(0.5)
    return now


def notes(text):
    return Labour.objects.filter(note=text).count()


def test_every_new_connection_waits_for_the_disk(server):
    for _ in range(3):
        other = connections.create_connection("default")
        try:
            with other.cursor() as cursor:
                cursor.execute("PRAGMA synchronous")
                assert cursor.fetchone() == (2,)  # FULL
        finally:
            other.close()


def test_a_form_waits_while_another_process_writes(server, bench):
    form = minutes(bench, "waits")
    with closing(sqlite3.connect(server.data / "desk.sqlite3")) as other:
        other.isolation_level = None
        other.execute("BEGIN IMMEDIATE")
        with ThreadPoolExecutor() as pool:
            sent = pool.submit(bench.post, form.path, **form.entries)
            time.sleep(1.5)
            assert not sent.done()
            other.execute("ROLLBACK")
            assert sent.result(timeout=20).status == 302
    assert notes(form.tag) == 1


def fill(folder):
    """Use up all space; return the file that does."""
    file = folder / "something large"
    with file.open("wb", buffering=0) as large, pytest.raises(OSError, match="space"):
        while True:
            large.write(bytes(4096))
    return file


@contextmanager
def full_disk(server):
    large = fill(server.data)
    yield
    large.unlink()


@contextmanager
def read_only_disk(server):
    """A file system is made read-only while nobody has a file of it open."""
    restart_with(server, "remount,ro")
    yield
    subprocess.run(["mount", "-o", "remount,rw", server.data], check=True)


def restart_with(server, option):
    connection.close()
    server.process.send_signal(signal.SIGTERM)
    server.process.wait(timeout=35)
    subprocess.run(["mount", "-o", option, server.data], check=True)
    server.start()


@pytest.mark.parametrize(
    ("trouble", "heading"),
    [(full_disk, "The disk is full"), (read_only_disk, "The database is read-only")],
)
def test_entries_come_back_and_pages_are_shown_until_there_is_room(
    server, bench, trouble, heading
):
    form = minutes(bench, heading)
    with trouble(server):
        failed = bench.post(form.path, **form.entries)
        assert notes(form.tag) == 0
        assert (failed.status, failed.headers["Retry-After"]) == (503, "10")
        assert heading in failed.text and "not saved twice" in failed.text
        assert "Traceback" not in failed.text
        kept = typed_in(failed)
        assert {name: kept[name] for name in form.entries} == form.entries
        for page in ("/", "/bench/", form.path.removesuffix("book_minutes/")):
            assert bench.get(page).status == 200
        assert server.get("/health/").status == 200
        # Whoever is not signed in is told, too, and not by a bare error.
        other = Visitor(server.port).sign_in(BENCH)
        assert other.status == 503 and "Traceback" not in other.text
    wait_until(lambda: server.process.poll() is None and server.is_up())
    del kept["csrfmiddlewaretoken"]
    for _ in range(4):  # whichever worker and thread answers
        assert bench.post(form.path, **kept).status == 302
    assert bench.get("/bench/").status == 200
    assert notes(form.tag) == 1
    assert list(sound.wrong()) == []
