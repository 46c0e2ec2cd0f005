"""How long do people wait while others work? Load on a real server with a large shop.

    python -m tests.benchmarks.load [--jobs N] [--database-url URL]
        [--rate 10 --seconds 60] [--burst 50 --burst-seconds 20] [--most-load 1.0]

Creates a database of its own as pages.py does, starts gunicorn with the project's
settings, and signs in six browsers. Requests arrive at random (Poisson) whether or not
earlier ones are answered, and each is timed from the moment it should have been sent,
so that a stall counts for all who wait. A fifth are forms, sent as the page gave them,
with its key: minutes, readings, findings, booking in, payments. Then a burst, and the
time until answers are as fast as before. The load is generated on the same machine.
"""

import argparse
import os
import queue
import random
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

from lxml import html

BROWSERS, THREADS = 6, 48
WRITES = 0.2
P95, RECOVERY = 0.150, 10.0
"""Aims in seconds: at the usual rate, and after the burst."""
SLOW = 10.0
READS = (
    ("today", 1),
    ("bench list", 3),
    ("customer list", 2),
    ("search", 3),
    ("job", 5),
    ("customer", 2),
    ("booking in", 2),
    ("payments", 2),
)
FORMS = {
    "minutes": ("job", "/book_minutes/"),
    "reading": ("job", "/reading/"),
    "findings": ("job", "/findings/"),
    "book in": ("booking in", "/counter/"),
    "payment": ("payments", "/job/"),
}


class Browser:
    """One signed-in person: the cookies of a session, and forms that pages gave."""

    def __init__(self, port: int, cookies: dict[str, str]):
        self.port, self.cookies = port, cookies

    def send(self, method: str, path: str, entries: dict | None = None):
        """Return status and text; each request has a connection of its own."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=60)
        headers = {
            "Cookie": "; ".join(
                f"{name}={value}" for name, value in self.cookies.items()
            )
        }
        body = None
        if entries is not None:
            body = urlencode(entries)
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        try:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            return answer.status, answer.read().decode(errors="replace")
        finally:
            connection.close()


class Shop:
    """What can be asked for, and how a form is filled in."""

    def __init__(self, jobs: int, open_jobs: list[int], customers: int):
        self.jobs, self.open, self.customers = jobs, open_jobs, customers
        self.devices = jobs - jobs // 10
        self.forms = {name: queue.LifoQueue() for name in FORMS}
        self.words = (
            "brook",
            "tamsin fenbrook",
            "0412",
            "SN0041",
            "+493000123",
            "elder",
        )

    def path(self, kind: str, rng: random.Random) -> str:
        if kind == "job":
            past = rng.randrange(1, self.jobs)
            return f"/bench/{rng.choice(self.open) if rng.random() < 0.8 else past}/"
        if kind == "payments":
            return f"/till/invoices/job/{rng.choice(self.open)}/"
        return {
            "today": "/",
            "bench list": "/bench/",
            "customer list": f"/customers/?page={rng.randrange(1, 50)}",
            "search": f"/find/?{urlencode({'q': rng.choice(self.words)})}",
            "customer": f"/customers/{rng.randrange(1, self.customers)}/",
            "booking in": "/counter/",
        }[kind]

    def keep_forms(self, browser: Browser, kind: str, path: str, text: str) -> None:
        """Keep the forms of a page for whoever sends one later."""
        wanted = {name: end for name, (page, end) in FORMS.items() if page == kind}
        if not wanted:
            return
        from tests.sent_forms import entries

        for form in html.fromstring(text).forms:
            for name, part in wanted.items():
                action = form.action or path
                is_refund = "way" in form.fields
                if "form_key" in form.fields and part in action and not is_refund:
                    self.forms[name].put((browser, action, dict(entries(form))))

    def filled(self, name: str, sent: dict, rng: random.Random) -> dict:
        device = rng.randrange(3000, self.devices)
        typed = {
            "minutes": {"minutes-minutes": rng.randrange(1, 60)},
            "reading": {"reading-test_point": "C104", "reading-value": "4.9V"},
            "findings": {"findings-failed": 2, "findings-tries": 5},
            "book in": {
                "device": device,
                "customer": (device - 1) % self.customers + 1,
                "complaint": "No picture.",
                "step": "book",
            },
            "payment": {"in-amount": "5.00", "in-means": "cash"},
        }[name]
        return sent | typed


class Load:
    """Sends requests at their moments and notes how long each took."""

    def __init__(self, shop: Shop, browsers: list[Browser], seed: int):
        self.shop, self.browsers, self.rng = shop, browsers, random.Random(seed)
        self.taken: list[tuple[float, str, float]] = []
        self.errors: Counter = Counter()
        self.lock = threading.Lock()
        self.answers: dict[str, str] = {}

    def run(self, *, rate: float, seconds: float) -> list[tuple[float, str, float]]:
        """Return moment, kind and seconds of each request of this run."""
        self.taken, waiting = [], queue.SimpleQueue()
        moment = 0.0
        arrivals = []
        while (moment := moment + self.rng.expovariate(rate)) < seconds:
            arrivals.append((moment, self.rng.random(), self.rng.randrange(2**30)))
        began = time.perf_counter() + 0.2

        def work():
            while (arrival := waiting.get()) is not None:
                moment, share, seed = arrival
                time.sleep(max(0.0, began + moment - time.perf_counter()))
                kind = self._one(share, random.Random(seed))
                took = time.perf_counter() - began - moment
                with self.lock:
                    self.taken.append((moment, kind, took))

        for arrival in arrivals:
            waiting.put(arrival)
        threads = [threading.Thread(target=work) for _ in range(THREADS)]
        for thread in threads:
            waiting.put(None)
            thread.start()
        for thread in threads:
            thread.join()
        return sorted(self.taken)

    def _one(self, share: float, rng: random.Random) -> str:
        if share < WRITES:
            name = rng.choice(list(FORMS))
            try:
                browser, path, sent = self.shop.forms[name].get_nowait()
            except queue.Empty:
                pass
            else:
                entries = self.shop.filled(name, sent, rng)
                self._ask(browser, f"save {name}", "POST", path, entries)
                return f"save {name}"
        kinds, weights = zip(*READS, strict=True)
        kind = rng.choices(kinds, weights)[0]
        browser = rng.choice(self.browsers)
        path = self.shop.path(kind, rng)
        if text := self._ask(browser, kind, "GET", path):
            self.shop.keep_forms(browser, kind, path, text)
        return kind

    def _ask(self, browser, kind, method, path, entries=None) -> str:
        try:
            status, text = browser.send(method, path, entries)
        except OSError as error:
            status, text = type(error).__name__, ""
        is_right = status in ((302,) if method == "POST" else (200, 302))
        if not is_right:
            with self.lock:
                self.errors[f"{kind}: {status}"] += 1
                self.answers.setdefault(f"{kind}: {status}", text)
        return text if status == 200 else ""


def percentile(times: list[float], share: float) -> float:
    """Return the time within which that share was answered."""
    return sorted(times)[min(len(times) - 1, int(share * len(times)))]


def described_run(name: str, taken, errors: Counter) -> str:
    times = [took for _, _, took in taken]
    p50, p95, p99 = (percentile(times, share) * 1000 for share in (0.5, 0.95, 0.99))
    writes = sum(kind.startswith("save") for _, kind, _ in taken)
    return (
        f"| {name} | {len(taken)} | {writes / len(taken):.0%} | {p50:.0f} | {p95:.0f} |"
        f" {p99:.0f} | {max(times) * 1000:.0f} | {sum(errors.values())} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--jobs", type=int, default=110_000)
    parser.add_argument("--database-url", help="a PostgreSQL that may make databases")
    parser.add_argument("--rate", type=float, default=10)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--burst", type=float, default=50)
    parser.add_argument("--burst-seconds", type=float, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    os.environ["DJANGO_SETTINGS_MODULE"] = "shopdesk.settings"
    if asked.database_url:
        os.environ["DATABASE_URL"] = asked.database_url
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SHOPDESK_DATA"] = folder
        from tests.benchmarks.pages import large_shop

        with large_shop(asked.jobs, use=False):
            _measure(asked, Path(folder))


def _measure(asked, folder: Path) -> None:
    from django.db import connection

    from repairs.customers.models import Customer
    from repairs.jobs import states
    from repairs.jobs.models import Job
    from tests.benchmarks.machine import described

    at_work = (states.BOOKED_IN, states.APPROVED)
    shop = Shop(
        asked.jobs,
        list(Job.objects.filter(state__in=at_work).values_list("pk", flat=True)),
        Customer.objects.count(),
    )
    url, name = os.environ.get("DATABASE_URL"), connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        url = f"sqlite:///{name}"
    else:
        base, _, parameters = url.partition("?")
        url = f"{base.rpartition('/')[0]}/{name}?{parameters}"
    connection.close()
    server = _server(folder, url)
    try:
        browsers = [_signed_in(server.port, n) for n in range(BROWSERS)]
        load = Load(shop, browsers, asked.seed)
        load.run(rate=5, seconds=10)  # warm-up; it also collects forms
        before = os.getloadavg()[0]
        load.errors.clear()
        usual = load.run(rate=asked.rate, seconds=asked.seconds)
        rows = [described_run(f"{asked.rate:g}/s", usual, load.errors)]
        p95 = percentile([took for *_, took in usual], 0.95)
        errors, problems = load.errors.copy(), load.answers.copy()
        load.errors.clear()
        burst = load.run(rate=asked.burst, seconds=asked.burst_seconds)
        rows.append(described_run(f"{asked.burst:g}/s", burst, load.errors))
        late = max(moment + took for moment, _, took in burst) - asked.burst_seconds
        load.errors.clear()
        after = load.run(rate=asked.rate, seconds=20)
        rows.append(described_run(f"{asked.rate:g}/s again", after, load.errors))
    finally:
        server.stop()
    print(f"{described('django')}; load average before {before:.1f}")
    print(f"{connection.vendor}, {asked.jobs:,} jobs\n")
    print("| arrivals | requests | forms | p50, ms | p95 | p99 | longest | errors |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    print("\n".join(rows))
    by_kind = defaultdict(list)
    for _, kind, took in usual:
        by_kind[kind].append(took * 1000)
    print(
        "\nMedians at the usual rate, ms: "
        + ", ".join(
            f"{k} {statistics.median(t):.0f}" for k, t in sorted(by_kind.items())
        )
    )
    is_met = p95 <= P95 and not errors
    print(f"\n- p95 at most {P95 * 1000:.0f} ms and no error: {_met(is_met)}")
    late_text = f"{max(0.0, late):.1f} s after the last arrival"
    print(f"- the burst was worked off {late_text}: {_met(late <= RECOVERY)}")
    for problem, count in errors.items():
        print(f"  {problem} × {count}")
    if "SHOW_ERRORS" in os.environ:
        for problem, text in problems.items():
            print(problem, text, file=sys.stderr)


def _met(is_met: bool) -> str:
    return "met" if is_met else "NOT met"


def _server(folder: Path, url: str):
    from tests.shopdesk.serving.conftest import Server

    settings = {"DATABASE_URL": url, "SILENCED_CHECKS": "shopdesk.E002"}
    server = Server(folder, **settings)
    server.start()
    return server


def _signed_in(port: int, n: int) -> Browser:
    from tests.benchmarks.large_shop import PASSWORD
    from tests.shopdesk.serving.conftest import Visitor

    visitor = Visitor(port)
    # Owners may open all that is asked for.
    assert visitor.sign_in("ferris", PASSWORD).status == 302, n
    return Browser(port, visitor.cookies)


if __name__ == "__main__":
    main()
