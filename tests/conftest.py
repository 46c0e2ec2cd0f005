"""What every test stands on: no network, a database file of its own, a browser."""

import ipaddress
import os
import shutil
import socket
import sys
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from hypothesis import configuration, settings

from tests import papers

# Playwright keeps a loop running in this thread, and Django would refuse its database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

configuration.set_hypothesis_home_dir(Path(".cache/hypothesis"))
# How long an example takes says more about the machine than about us.
settings.register_profile("desk", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("desk")

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
BROWSER_ARGS = [
    # As root there is no sandbox; the browser sees our own pages only.
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-sync",
    # The browser is a program of its own, which the guard below does not reach.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
]


def _is_here(host):
    if not isinstance(host, str):
        return not host
    if host in ("", "localhost", socket.gethostname()):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _stay_here(event, args):
    """No test may reach beyond this machine, by whatever library."""
    if event == "socket.getaddrinfo":
        host = args[0]
    elif event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        # A path, not a pair, is a socket in the file system.
        host = args[1][0] if isinstance(args[1], tuple) else None
    else:
        return
    if isinstance(host, bytes):
        host = host.decode()
    if not _is_here(host):
        raise RuntimeError(f"A test tried to reach {host!r}.")


sys.addaudithook(_stay_here)


def pytest_addoption(parser):
    group = parser.getgroup("shopdesk")
    group.addoption(
        "--on", choices=["sqlite", "postgresql"], help="the database this must run on"
    )
    group.addoption(
        "--whole",
        action="store_true",
        help="fail unless the browser tests ran, every one",
    )
    group.addoption(
        "--without-database",
        action="store_true",
        help="only the tests that ask for no database",
    )


def pytest_collection_modifyitems(config, items):
    for test in items:
        if "browser" in test.fixturenames:
            test.add_marker("browser")
    wanted = _wanted(config)
    if wanted is not None:
        left = [test for test in items if _asks_for_the_database(test) != wanted]
        items[:] = [test for test in items if _asks_for_the_database(test) == wanted]
        config.hook.pytest_deselected(items=left)


def _wanted(config):
    """Whether only tests with, or only those without, the database are to run."""
    if config.getoption("--without-database"):
        return False
    # What asks for no database was proven where SQLite was.
    if config.getoption("--whole") and config.getoption("--on") == "postgresql":
        return True
    return None


# Whatever else lends a test the database stands on one of these.
DATABASE = {"db", "transactional_db", "django_db_setup"}


def _asks_for_the_database(test):
    return bool(
        test.get_closest_marker("django_db") or DATABASE.intersection(test.fixturenames)
    )


class Whole:
    """Counts what ran in the browser: tests that did not run prove nothing."""

    def __init__(self):
        self.ran = 0
        self.skipped = []

    def pytest_runtest_logreport(self, report):
        if "browser" not in report.keywords:
            return
        if report.skipped:
            self.skipped.append(report.nodeid)
        elif report.when == "call":
            self.ran += 1

    def wrongs(self):
        if not self.ran:
            yield "No browser test ran."
        for test in self.skipped:
            yield f"{test} was skipped."

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session):
        if any(self.wrongs()) and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter):
        for wrong in self.wrongs():
            terminalreporter.write_line(wrong, red=True)
        terminalreporter.write_line(f"Tests in the browser: {self.ran}.")


def pytest_configure(config):
    # Several processes must meet the tests in one order, and some are named by sets.
    os.environ.setdefault("PYTHONHASHSEED", "0")
    is_one_of_several = hasattr(config, "workerinput")
    if config.getoption("--whole") and not is_one_of_several:
        config.pluginmanager.register(Whole())


@pytest.fixture(scope="session", autouse=True)
def papers_are_drawn_by_a_stand_in():
    """Except in a test marked `paper`; see `tests.papers`."""
    from shopdesk.papers import render

    real = render.draw_pdf
    render.draw_pdf = lambda asked: (real if papers.drawn else papers.stand_in)(asked)
    yield
    render.draw_pdf = real


def pytest_runtest_setup(item):
    papers.drawn = item.get_closest_marker("paper") is not None


@pytest.fixture(scope="session")
def databases(django_test_environment, tmp_path_factory, worker_id, request):
    from django.db import connection

    from tests.database import Databases

    wanted = request.config.getoption("--on")
    assert wanted in (None, connection.vendor), (
        f"These tests are for {wanted}; DATABASE_URL says {connection.vendor}."
    )
    own = tmp_path_factory.getbasetemp()
    # With several processes each has a folder of its own in that of the run.
    shared = own if worker_id == "master" else own.parent
    return Databases(shared, tmp_path_factory.mktemp(worker_id, numbered=False))


@pytest.fixture(scope="session")
def django_db_setup(databases, django_db_blocker):
    """In place of pytest-django's own, which migrates anew in each process."""
    with ExitStack() as stack:
        with django_db_blocker.unblock():
            stack.enter_context(databases.migrated())
        yield
        with django_db_blocker.unblock():
            stack.close()


@contextmanager
def _demo(databases, blocker):
    from django.conf import settings
    from django.core.management import call_command

    data, said = databases.shared / "demo", databases.shared / "demo.txt"

    def fill():
        with said.open("w") as out:
            call_command("demo", stdout=out)

    with ExitStack() as stack, pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "DATA_DIR", data)
        with blocker.unblock():
            stack.enter_context(databases.copy("demo", fill, of="migrated"))
        yield said.read_text()
        with blocker.unblock():
            stack.close()


@pytest.fixture(scope="module")
def demo(databases, django_db_setup, django_db_blocker):
    """The demo shop as it was filled once in this run; what the command said of it."""
    with _demo(databases, django_db_blocker) as said:
        yield said


@pytest.fixture
def demo_to_use_up(databases, django_db_setup, django_db_blocker):
    """The same for one test that keeps what it changes."""
    with _demo(databases, django_db_blocker) as said:
        yield said


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    wanted = (os.environ.get("CHROMIUM"), *BROWSERS)
    found = next(filter(None, (shutil.which(name) for name in wanted if name)), None)
    assert found, "No Chromium here: set CHROMIUM, or install one."
    return {**browser_type_launch_args, "executable_path": found, "args": BROWSER_ARGS}


@pytest.fixture(scope="session", autouse=True)
def tests_with_real_transactions_leave_an_empty_shop(request):
    """Django empties each table, which the guards of `shopdesk.triggers` refuse. On
    SQLite all is overwritten by the migrated file instead, which is quicker, too; on
    PostgreSQL they are down for the emptying, and up again after."""
    from django.db import connection
    from django.test import TransactionTestCase

    empty = TransactionTestCase._fixture_teardown

    def empty_unguarded(test):
        if connection.vendor == "sqlite":
            request.getfixturevalue("databases").begin_anew()
            return
        _guards("drop")
        empty(test)
        _guards("create")

    TransactionTestCase._fixture_teardown = empty_unguarded
    yield
    TransactionTestCase._fixture_teardown = empty


def _guards(act):
    from django.db import connection

    from billing.guards import GUARDS as till
    from repairs.guards import GUARDS as workshop
    from shopdesk import triggers

    statements = getattr(triggers, act)([*workshop, *till], vendor=connection.vendor)
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
