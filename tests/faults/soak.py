"""The long versions of the fault tests, and a server at work for a while.

    make soak [MINUTES=10] [ROUNDS=10] [MACHINE="300 60"] [SEED=…]

Prints its seed, the outcome of the tests, and a table for README.md in this folder. It
ends with an error if anything failed, or if memory or open files kept growing.
"""

import argparse
import os
import platform
import random
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from queue import Queue

ROOT = Path(__file__).resolve().parent.parent.parent
RATE = 5.0  # requests a second
WARM_UP = 60.0  # seconds before memory is compared
MAX_GROWTH = 0.10
PAGES = ("/", "/bench/", "/find/?q=T-")  # of anybody
OF_COUNTER = ("/till/invoices/", "/customers/")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--machine", default="300 60")
    parser.add_argument("--seed", type=int, default=random.randrange(10**6))
    asked = parser.parse_args()
    print(f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, {machine()}, seed {asked.seed}")
    failed = [name for name in ("sqlite", "postgresql") if not fault_tests(name, asked)]
    with tempfile.TemporaryDirectory() as folder:
        failed += at_work(Path(folder), asked)
    if failed:
        sys.exit(f"Failed: {', '.join(failed)}.")


def machine():
    return f"{os.cpu_count()} cores, Python {platform.python_version()}"


def fault_tests(database, asked):
    """Run the tests of this folder with many rounds; return whether they passed."""
    environment = os.environ | {
        "FAULT_ROUNDS": str(asked.rounds),
        "FAULT_SEED": str(asked.seed),
        "FAULT_MACHINE": asked.machine,
    }
    environment.pop("DATABASE_URL", None)
    folder = Path(tempfile.mkdtemp(prefix="shopdesk.", dir="/tmp"))
    folder.chmod(0o711)
    command = ["bash", ROOT / ".ci" / "postgres"]
    if database == "postgresql":
        begun = subprocess.run(
            [*command, "start", folder / "pg"], stdout=subprocess.PIPE, text=True
        )
        environment["DATABASE_URL"] = begun.stdout.strip()
    began = time.monotonic()
    options = ["-q", "-n0", f"--on={database}", f"--hypothesis-seed={asked.seed}"]
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", *options, "tests/faults"],
        cwd=ROOT,
        env=environment | {"SHOPDESK_DATA": str(folder / "data")},
        check=False,
    )
    if database == "postgresql":
        subprocess.run([*command, "stop", folder / "pg"], check=True)
    outcome = "passed" if ran.returncode == 0 else "FAILED"
    print(f"Fault tests on {database}: {outcome}, {time.monotonic() - began:.0f} s")
    return ran.returncode == 0


# --- a server at work -----------------------------------------------------------------


def at_work(folder, asked):
    """Let people work at a real server; return what went wrong."""
    os.environ |= {
        "SHOPDESK_DATA": str(folder),
        "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
    }
    os.environ.pop("DATABASE_URL", None)
    import django

    django.setup()
    from django.core.management import call_command

    from shopdesk.papers import render
    from tests import papers
    from tests.faults.busy_shop import fill_shop
    from tests.faults.conftest import server_of_shop

    call_command("migrate", verbosity=0)
    real, render.draw_pdf = render.draw_pdf, papers.stand_in
    fill_shop()
    render.draw_pdf = real
    with server_of_shop(folder) as server:
        server.start()
        return [*while_locked(server), *under_load(server, asked)]


def send(person, form, answers):
    began = time.monotonic()
    answer = person.visitor.post(form.path, **form.entries)
    answers.append((answer, time.monotonic() - began))


def while_locked(server):
    """Another process holds SQLite's lock: for less, then for more than one waits."""
    from tests.faults.busy_shop import Person, minutes

    for seconds, expected in ((15, 302), (25, 503)):
        person = Person(server.port, minutes).sign_in()
        form = minutes(person.visitor, f"lock {seconds}")
        with closing(sqlite3.connect(server.data / "desk.sqlite3")) as other:
            other.isolation_level = None
            other.execute("BEGIN IMMEDIATE")
            answers = []
            sender = threading.Thread(target=send, args=(person, form, answers))
            sender.start()
            time.sleep(seconds)
            other.execute("ROLLBACK")
            sender.join()
        [(answer, took)] = answers
        status = answer.status
        print(f"Database locked for {seconds} s: status {status} after {took:.1f} s")
        is_told = status != 503 or "database is busy" in answer.text.lower()
        again = person.visitor.post(form.path, **form.entries).status
        if status != expected or not is_told or again != 302:
            yield f"a database locked for {seconds} s"


def under_load(server, asked):
    """Ask for pages and save at an even rate; look at memory and open files."""
    from tests.faults.busy_shop import Person, booking, minutes

    people = Queue()
    kinds = (minutes, booking) * 4
    for kind in kinds:
        people.put(Person(server.port, kind).sign_in())
    draw, times, errors, looks = random.Random(asked.seed), [], [], []
    begin, number = time.monotonic(), 0
    end = begin + asked.minutes * 60
    serial = iter(range(1000, 10**9))

    def ask(due):
        person = people.get()
        try:
            if draw.random() < 0.2:
                person.sent = next(serial)
                before = len(person.acknowledged)
                person.save()
                if len(person.acknowledged) == before:
                    statuses = [status for status, _ in person.answers[-1:]]
                    errors.append((person.kind.__name__, *statuses))
            else:
                more = OF_COUNTER if person.kind is booking else ()
                page = draw.choice(PAGES + more)
                answer = person.visitor.get(page)
                if answer.status != 200:
                    errors.append((page, answer.status))
            times.append(time.monotonic() - due)
        except Exception as error:
            errors.append(repr(error))
        finally:
            people.put(person)

    while (now := time.monotonic()) < end:
        due = begin + number / RATE
        if now < due:
            time.sleep(due - now)
        threading.Thread(target=ask, args=[due], daemon=True).start()
        number += 1
        if number % int(RATE * 10) == 0:
            looks.append((time.monotonic() - begin, *resources(server)))
    for _ in kinds:
        people.get(timeout=60)
    times.sort()
    warm = next((look for look in looks if look[0] >= WARM_UP), looks[0])
    last = looks[-1]
    growth = last[1] / warm[1] - 1
    print("| requests | errors | median | p95 | memory | growth | open files |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    print(
        f"| {len(times):,} | {len(errors)} | {times[len(times) // 2] * 1000:.0f} ms |"
        f" {times[int(len(times) * 0.95)] * 1000:.0f} ms | {last[1] / 1e6:.0f} MB |"
        f" {growth:+.1%} | {warm[2]} → {last[2]} |"
    )
    if errors:
        yield f"requests: {errors[:3]}"
    if growth > MAX_GROWTH:
        yield f"memory grew by {growth:.0%}"
    if last[2] > warm[2] + 10:
        yield f"open files grew from {warm[2]} to {last[2]}"


def resources(server):
    """Return the memory (bytes) and the open files of the server and its workers."""
    from tests.faults.test_killed_server import workers

    memory = files = 0
    for pid in (server.process.pid, *workers(server)):
        pages = Path(f"/proc/{pid}/statm").read_text().split()
        memory += int(pages[1]) * os.sysconf("SC_PAGE_SIZE")
        files += len(os.listdir(f"/proc/{pid}/fd"))
    return memory, files


if __name__ == "__main__":
    main()
