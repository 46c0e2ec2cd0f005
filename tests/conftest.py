"""Fixtures of all tests: no network, a migrated database, a browser."""

import ipaddress
import os
import shutil
import socket
import sys
import time
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from django.core.cache import cache
from hypothesis import configuration, settings

from repairs.comebacks.standing import RECENT
from repairs.stock.ordering import COMMON_RATE
from tests import papers

# Playwright keeps a loop running in this thread, and Django would refuse its database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

# PostgreSQL's own data is temporary here, so it does not wait for the disk.
os.environ.setdefault("SILENCED_CHECKS", "shopdesk.E002")

configuration.set_hypothesis_home_dir(Path(".cache/hypothesis"))
# How long an example takes depends on the machine, not on our code.
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
    # The audit hook below does not reach the browser's process.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
]


def _is_local(host):
    if not isinstance(host, str):
        return not host
    if host in ("", "localhost", socket.gethostname()):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _refuse_network(event, args):
    """Raise when a test tries to reach another machine, by any library."""
    if event == "socket.getaddrinfo":
        host = args[0]
    elif event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        # A Unix socket has a path instead of a host and port.
        host = args[1][0] if isinstance(args[1], tuple) else None
    else:
        return
    if isinstance(host, bytes):
        host = host.decode()
    if not _is_local(host):
        raise RuntimeError(f"A test tried to reach {host!r}.")


sys.addaudithook(_refuse_network)


def pytest_addoption(parser):
    group = parser.getgroup("shopdesk")
    group.addoption(
        "--on", choices=["sqlite", "postgresql"], help="fail on any other database"
    )
    group.addoption(
        "--whole",
        action="store_true",
        help="fail unless every browser test ran",
    )
    group.addoption(
        "--without-database",
        action="store_true",
        help="only tests that need no database",
    )


def pytest_xdist_auto_num_workers(config):
    """One process more than cores: browsers, children and disks keep some waiting."""
    return os.cpu_count() + 1


def pytest_collection_modifyitems(config, items):
    for test in items:
        if "browser" in test.fixturenames:
            test.add_marker("browser")
    runs = _selection(config)
    left = [test for test in items if not runs(test)]
    items[:] = [test for test in items if runs(test)]
    config.hook.pytest_deselected(items=left)
    # They take longest and wait most, so none of them should be the last to run.
    items.sort(key=lambda test: "browser" not in test.keywords)


def _selection(config):
    """Return which tests run, as a function."""
    if config.getoption("--without-database"):
        return lambda test: not _needs_database(test)
    if config.getoption("--whole") and config.getoption("--on") == "postgresql":
        # The others ran with SQLite; how a paper is drawn is the same on both, and
        # what is on it is tested on both with the stand-in.
        return lambda test: (
            _needs_database(test)
            and not (_is_paper(test) or test.get_closest_marker("once"))
        )
    return lambda test: True


def _is_paper(test):
    return test.get_closest_marker("paper") is not None


# Every other fixture that gives access to the database uses one of these.
DATABASE_FIXTURES = {"db", "transactional_db", "django_db_setup"}


def _needs_database(test):
    has_fixture = not DATABASE_FIXTURES.isdisjoint(test.fixturenames)
    return has_fixture or test.get_closest_marker("django_db") is not None


class BrowserTestCheck:
    """Fails the run if a browser test was skipped or none ran."""

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

    def problems(self):
        if not self.ran:
            yield "No browser test ran."
        for test in self.skipped:
            yield f"{test} was skipped."

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session):
        if any(self.problems()) and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter):
        for problem in self.problems():
            terminalreporter.write_line(problem, red=True)
        terminalreporter.write_line(f"Browser tests: {self.ran}.")


def pytest_configure(config):
    # All processes must collect the tests in the same order, and sets name some.
    os.environ.setdefault("PYTHONHASHSEED", "0")
    is_worker = hasattr(config, "workerinput")
    if config.getoption("--whole") and not is_worker:
        config.pluginmanager.register(BrowserTestCheck())


@pytest.fixture(scope="session", autouse=True)
def stand_in_for_pdfs():
    """Use the stand-in for PDFs except in tests marked `paper`; see `tests.papers`."""
    from shopdesk.papers import render

    real = render.draw_pdf
    render.draw_pdf = papers.draw_with(real)
    yield
    render.draw_pdf = real


@pytest.fixture(scope="session", autouse=True)
def confirmed_sign_in():
    """Let `Client.force_login` count as a sign-in by password, as of now."""
    from django.test import Client

    log_in = Client.force_login

    def force_login(client, user, backend=None):
        log_in(client, user, backend)
        session = client.session
        session["confirmed"] = int(time.time())
        session.save()

    Client.force_login = force_login
    yield
    Client.force_login = log_in


@pytest.fixture(scope="session", autouse=True)
def cheap_requests(django_test_environment):
    """Leave out work that each test client would repeat and few tests look at."""
    from django.conf import settings
    from django.test import client

    from shopdesk.shop import clock

    # This process may have read its settings before they were changed above.
    settings.SILENCED_SYSTEM_CHECKS = ["shopdesk.E002"]
    # Otherwise each client reads the list of all static files.
    settings.WHITENOISE_AUTOREFRESH = True
    # Every client would look at the clock first; see tests/shopdesk/shop/test_clock.py.
    watch, clock.watch = clock.watch, lambda *args, **facts: None
    store = client.store_rendered_templates

    def store_page(data, signal, sender, template, context, **facts):
        """Keep the context of pages, not of the hundred templates they include."""
        if (
            template.name
            and "/_" not in template.name
            and "/look/" not in template.name
        ):
            store(data, signal, sender, template, context, **facts)

    client.store_rendered_templates = store_page
    yield
    client.store_rendered_templates, clock.watch = store, watch


@pytest.fixture(scope="session", autouse=True)
def forms_with_keys(django_test_environment):
    """Send a form's key with every POST, and fail if it is not used up by a change.

    So whichever test sends a form also tests that the form acts only once.
    """
    from django.test import Client

    from tests.sent_forms import post_with_key

    post = Client.post
    Client.post = post_with_key(post)
    yield
    Client.post = post


def pytest_runtest_setup(item):
    papers.is_real, papers.only_template = _is_paper(item), ""


@pytest.fixture(scope="session")
def databases(django_test_environment, tmp_path_factory, worker_id, request):
    from django.db import connection

    from tests.database import Databases

    wanted = request.config.getoption("--on")
    assert wanted in (None, connection.vendor), (
        f"These tests are for {wanted}; DATABASE_URL says {connection.vendor}."
    )
    own = tmp_path_factory.getbasetemp()
    # Each xdist process has its own folder inside that of the run.
    shared = own if worker_id == "master" else own.parent
    return Databases(shared, tmp_path_factory.mktemp(worker_id, numbered=False))


@pytest.fixture(scope="session")
def django_db_setup(databases, django_db_blocker):
    """Replace the fixture of pytest-django, which migrates in each process."""
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

    data, output = databases.shared / "demo", databases.shared / "demo.txt"

    def fill():
        with output.open("w") as out:
            call_command("demo", stdout=out)

    with ExitStack() as stack, pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "DATA_DIR", data)
        with blocker.unblock():
            stack.enter_context(databases.copy("demo", fill, of="migrated"))
        yield output.read_text()
        with blocker.unblock():
            stack.close()


@pytest.fixture(scope="module")
def demo(databases, django_db_setup, django_db_blocker):
    """Use the demo shop, filled once in this run; the value is the command's output."""
    with _demo(databases, django_db_blocker) as output:
        yield output


@pytest.fixture
def own_demo(databases, django_db_setup, django_db_blocker):
    """The same for one test that commits its changes."""
    with _demo(databases, django_db_blocker) as output:
        yield output


@contextmanager
def _full_shop(databases, blocker):
    from tests.billing.personal_data.canaries import two_customers

    with ExitStack() as stack:
        with blocker.unblock():
            stack.enter_context(databases.copy("full", two_customers, of="migrated"))
        yield
        with blocker.unblock():
            stack.close()


@pytest.fixture(scope="module")
def full_shop(databases, django_db_setup, django_db_blocker):
    """Use a shop whose two customers have one of everything, filled once in this run;
    `canaries.full_customers` returns them.
    """
    with _full_shop(databases, django_db_blocker):
        yield


@pytest.fixture
def own_full_shop(databases, django_db_setup, django_db_blocker):
    """The same for one test that commits its changes."""
    with _full_shop(databases, django_db_blocker):
        yield


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    wanted = (os.environ.get("CHROMIUM"), *BROWSERS)
    found = next(filter(None, (shutil.which(name) for name in wanted if name)), None)
    assert found, "No Chromium here: set CHROMIUM, or install one."
    return {**browser_type_launch_args, "executable_path": found, "args": BROWSER_ARGS}


@pytest.fixture(scope="session", autouse=True)
def reset_database_after_transactions(request):
    """Reset the database after a test that commits.

    Django deletes all rows, which our triggers refuse. So the migrated file overwrites
    the SQLite database, which is also faster; on PostgreSQL the triggers are dropped
    and created again.
    """
    from django.db import connection
    from django.test import TransactionTestCase

    from shopdesk.keeping import migrating

    flush = TransactionTestCase._fixture_teardown

    def reset(test):
        if connection.vendor == "sqlite":
            request.getfixturevalue("databases").reset()
            return
        migrating.remove_guards("default")
        flush(test)
        migrating.create_guards("default")

    TransactionTestCase._fixture_teardown = reset
    yield
    TransactionTestCase._fixture_teardown = flush


@pytest.fixture(autouse=True)
def no_verdicts_of_another_test():
    """Forget what the cache keeps for a time, not marked by the data behind it."""
    cache.delete_many([RECENT, COMMON_RATE])
