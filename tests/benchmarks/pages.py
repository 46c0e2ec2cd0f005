"""What does a page cost, as a multiple of an empty one?

    python -m tests.benchmarks.pages [--jobs N] [--database-url URL] [--turns N]
        [--use-database] [--profile PAGE]

Creates a database of its own (SQLite, unless --database-url or DATABASE_URL gives
another), fills it with a large shop, and deletes it again. The empty page is a view
without content that passes all middleware with a signed-in owner. Cost is processor
time: of this process, and of the PostgreSQL process that serves it. Each figure is the
median of turns in which all pages, the empty one too, come one after another.
"""

import argparse
import cProfile
import os
import pstats
import statistics
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

JOBS, TURNS, WARM_UP = 110_000, 40, 3
SEARCH, LIST, JOB = 25, 15, 40
"""The most that a page may cost."""


def pages() -> dict[str, tuple[str, int]]:
    """Return address and highest ratio of each page that is measured."""
    from repairs.jobs import states
    from repairs.jobs.models import Job, Repair

    found = {
        "search: customer": ("/find/?q=tamsin+fenbrook", SEARCH),
        "search: part of a name": ("/find/?q=brook", SEARCH),
        "search: part of a job number": ("/find/?q=0412", SEARCH),
        "search: serial": ("/find/?q=SN00412", SEARCH),
        "search: phone": ("/find/?q=030+0012345", SEARCH),
        "search: no match": ("/find/?q=quetzal", SEARCH),
        "customer list": ("/customers/", LIST),
        "customer list: filtered": ("/customers/?q=brook", LIST),
        "customer list: last page": ("/customers/?page=1600", LIST),
        "bench list": ("/bench/", LIST),
    }
    for state in (states.BOOKED_IN, states.APPROVED, states.REPAIRED):
        job = Job.objects.filter(state=state).order_by("pk")[3]
        found[f"job: {job.get_state_display()}"] = (job.get_absolute_url(), JOB)
    past = Repair.objects.get(pk=1000).job
    found["job: handed over"] = (past.get_absolute_url(), JOB)
    return found


EMPTY = "/empty/"


class Site:
    """The pages as the server makes them, for a signed-in user."""

    def __init__(self, name: str):
        from django.conf import settings
        from django.contrib import auth
        from django.core.handlers.wsgi import WSGIHandler
        from django.http import HttpRequest
        from django.test import RequestFactory

        from shopdesk.staff.models import User
        from shopdesk.staff.sessions import SessionStore

        add_empty_page()
        request = HttpRequest()
        request.session = SessionStore()
        user = User.objects.get(username=name)
        auth.login(request, user, "django.contrib.auth.backends.ModelBackend")
        now = int(time.time())
        request.session.update({"since": now, "seen": now, "confirmed": now})
        request.session.save()
        cookie = f"{settings.SESSION_COOKIE_NAME}={request.session.session_key}"
        self.environ = RequestFactory(
            HTTP_COOKIE=cookie, HTTP_HOST="127.0.0.1"
        )._base_environ
        self.handler = WSGIHandler()

    def get(self, path: str) -> str:
        """Return the page; raise AssertionError if there is none."""
        path, _, query = path.partition("?")
        answer = self.handler(
            self.environ(PATH_INFO=path, QUERY_STRING=query), lambda *args: None
        )
        text = b"".join(answer).decode()
        answer.close()
        assert answer.status_code == 200, (path, answer.status_code)
        return text


def add_empty_page() -> None:
    from django.http import HttpResponse
    from django.urls import path

    from shopdesk import urls
    from shopdesk.staff.permissions import ANY_ROLE, URL_ROLES

    def empty(request):
        return HttpResponse()

    URL_ROLES["empty"] = ANY_ROLE
    urls.urlpatterns.append(path(EMPTY[1:], empty, name="empty"))


def measure(site: Site, paths: dict[str, str], *, turns: int) -> dict[str, float]:
    """Return the median of the processor time of each page, in seconds."""
    times = {name: [] for name in paths}
    for turn in range(WARM_UP + turns):
        for name, path in paths.items():
            began = _processor_time()
            site.get(path)
            if turn >= WARM_UP:
                times[name].append(_processor_time() - began)
    return {name: statistics.median(taken) for name, taken in times.items()}


def _processor_time() -> float:
    """Return that of this process and of its PostgreSQL process, in seconds."""
    from django.db import connection

    other = 0
    if connection.vendor == "postgresql":
        connection.ensure_connection()
        pid = connection.connection.info.backend_pid
        other = int(Path(f"/proc/{pid}/schedstat").read_text().split()[0])
    return time.process_time() + other / 1e9


def count_queries(site: Site, path: str) -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as queries:
        site.get(path)
    return len(queries)


@contextmanager
def large_shop(jobs: int, *, use: bool):
    """Use a new database with so many jobs, or the one of DATABASE_URL as it is."""
    import django

    django.setup()
    from django.db import connection, transaction

    if use:
        yield
        return
    from tests.benchmarks.large_shop import fill_shop

    own = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        with transaction.atomic():
            fill_shop(jobs)
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("VACUUM ANALYZE")
        yield
    finally:
        connection.creation.destroy_test_db(own, verbosity=0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--jobs", type=int, default=JOBS)
    parser.add_argument("--turns", type=int, default=TURNS)
    parser.add_argument("--database-url", help="a PostgreSQL that may make databases")
    parser.add_argument(
        "--use-database",
        action="store_true",
        help="use the database as it is, filled before by large_shop.py",
    )
    parser.add_argument("--profile", help="show where the time of this page goes")
    asked = parser.parse_args()
    os.environ["DJANGO_SETTINGS_MODULE"] = "shopdesk.settings"
    os.environ["ALLOWED_HOSTS"] = "127.0.0.1"
    if asked.database_url:
        os.environ["DATABASE_URL"] = asked.database_url
    with tempfile.TemporaryDirectory() as folder:
        if not asked.use_database:
            os.environ["SHOPDESK_DATA"] = folder
        with large_shop(asked.jobs, use=asked.use_database):
            site, wanted = Site("ferris"), pages()
            import logging

            logging.getLogger("shopdesk.requests").setLevel(logging.ERROR)
            if asked.profile:
                _profile(site, wanted[asked.profile][0])
            else:
                _print_ratios(site, wanted, turns=asked.turns)


def _print_ratios(site, wanted, *, turns) -> None:
    from django.db import connection

    from tests.benchmarks.machine import described

    paths = {"empty": EMPTY} | {name: path for name, (path, _) in wanted.items()}
    cost = measure(site, paths, turns=turns)
    load = ", ".join(f"{n:.1f}" for n in os.getloadavg())
    print(f"{described('django')}; load average {load}\n{connection.vendor}\n")
    print("| page | processor time, ms | queries | ÷ empty | at most |")
    print("| --- | ---: | ---: | ---: | ---: |")
    for name, path in paths.items():
        ratio = cost[name] / cost["empty"]
        most = wanted[name][1] if name in wanted else ""
        is_missed = most and ratio > most
        print(
            f"| {name} | {cost[name] * 1000:.1f} | {count_queries(site, path)} |"
            f" {ratio:.1f} | {most}{' (not met)' if is_missed else ''} |"
        )


def _profile(site, path) -> None:
    for _ in range(WARM_UP):
        site.get(path)
    profile = cProfile.Profile()
    profile.enable()
    for _ in range(20):
        site.get(path)
    profile.disable()
    stats = pstats.Stats(profile)
    stats.sort_stats("tottime").print_stats(35)
    stats.sort_stats("cumulative").print_stats(90)


if __name__ == "__main__":
    main()
