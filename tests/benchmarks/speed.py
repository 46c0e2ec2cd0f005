"""How long does the comeback table of a million repairs take?

    python -m tests.benchmarks.speed [--rows N] [--pairs N] [--database-url URL]
        [--lifelines PYTHON]

Creates a database of its own (SQLite, unless --database-url or DATABASE_URL gives
another), fills it with simulated repairs, and deletes it again. Times are the best of
several. The floor is reading three integers of each of the same repairs into numpy by
the same driver: its pair, the day of its handover, and whether it was recorded as a
stopgap.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from itertools import chain
from pathlib import Path

SMALLEST = 10_000
TURNS = 5
MONTHS = 2  # turns of the month's page
SAMPLE = 150  # pairs by which the libraries' loops are timed
MOST_RATIO, MOST_MEMORY, MOST_SECONDS, LEAST_FASTER = 1.5, 300, 2.0, 50
BATCH = 20_000
LIFELINES = "BENCHMARK_LIFELINES"


def measured(rows: int) -> dict:
    """The times of one filled database, in a process that does nothing else."""
    import numpy as np
    from django.core.cache import cache

    from repairs.comebacks.cache import fingerprint
    from repairs.comebacks.comeback_table import comeback_table
    from repairs.comebacks.estimate.kaplan_meier import kaplan_meier
    from repairs.comebacks.record import build_report
    from repairs.comebacks.scope import Scope
    from repairs.month.report import month_report
    from shopdesk.shop.models import Shop
    from tests.benchmarks.history import AS_OF

    shop, scope = Shop.current(), Scope(as_of=AS_OF, within=90)
    began = _memory()
    asked_again = min(_timed(lambda: fingerprint(shop))[1] for _ in range(TURNS))

    def whole():
        return build_report(scope, shop=shop)

    record, first = _timed(whole)
    memory = _memory()
    times = {"floor": [], "bare": [], "whole": [first], "estimator": [], "alone": []}
    table = record.table

    def estimator():
        return comeback_table(table.counts, table.frame, limit=0.1, confidence=0.9)

    for _ in range(TURNS):
        times["floor"].append(_timed(lambda: _read(np, _floor()))[1])
        times["bare"].append(_timed(lambda: _read(np, BARE))[1])
        times["whole"].append(_timed(whole)[1])
        times["estimator"].append(_timed(estimator)[1])
        times["alone"].append(_timed(lambda: kaplan_meier(table.counts, tail=0.05))[1])

    def month():
        cache.clear()
        return month_report(scope, shop=shop)

    times["month"] = [_timed(month)[1] for _ in range(MONTHS)]
    best = {name: min(taken) for name, taken in times.items()}
    return {
        "rows": rows,
        "repairs": record.repairs,
        "comebacks": record.comebacks,
        "pairs": len(record.rows),
        "began": began,
        "memory": memory,
        "asked_again": asked_again,
        **best,
        **_loops(np, table.counts),
        **_survival(np, table.counts),
    }


# Three columns as stored, without conversion or calculation.
BARE = "SELECT fault_id, fix_id, job_id FROM repairs_repair WHERE outcome = 'fixed'"


def _floor() -> str:
    """The three whole numbers of each repair that the table rests on."""
    from django.db import connection

    day = {
        "sqlite": "CAST(julianday(handed_over_on) AS INTEGER)",
        "postgresql": "handed_over_on - DATE '2000-01-01'",
    }
    return (
        f"SELECT fault_id * 10000 + fix_id, {day[connection.vendor]},"
        " CASE WHEN fix_type = 'stopgap' THEN 1 ELSE 0 END FROM repairs_repair"
        " WHERE outcome = 'fixed' AND handed_over_on <= '2026-06-30'"
    )


def _read(np, sql):
    from django.db import connection

    read = []
    with connection.cursor() as cursor:
        cursor.execute(sql)
        while batch := cursor.fetchmany(BATCH):
            read.append(np.fromiter(chain.from_iterable(batch), dtype=np.int64))
    return np.concatenate(read).reshape(-1, 3)


def _loops(np, counts) -> dict:
    """Kaplan–Meier of each pair by general libraries, from a sample of the pairs."""
    from scipy.stats import CensoredData, ecdf
    from statsmodels.duration.survfunc import SurvfuncRight

    pairs = np.linspace(0, len(counts.exits) - 1, min(SAMPLE, len(counts.exits)))
    days = np.arange(counts.within + 1)
    samples = []
    for pair in pairs.astype(int):
        back, held = counts.events[pair], counts.exits[pair] - counts.events[pair]
        samples.append((np.repeat(days, back), np.repeat(days, held)))

    def by_statsmodels():
        for back, held in samples:
            if len(back):
                marks = np.repeat([1, 0], [len(back), len(held)])
                SurvfuncRight(np.concatenate([back, held]), marks)

    def by_scipy():
        for back, held in samples:
            ecdf(CensoredData(uncensored=back, right=held))

    factor = len(counts.exits) / len(samples)
    return {
        "statsmodels": _timed(by_statsmodels)[1] * factor,
        "scipy": _timed(by_scipy)[1] * factor,
    }


def _survival(np, counts) -> dict:
    """The same by a library that has all of survival, in the Python that was named."""
    named = os.environ.get(LIFELINES)
    if not named:
        return {}
    with tempfile.NamedTemporaryFile(suffix=".npz") as file:
        np.savez(file, left=counts.exits, back=counts.events)
        file.flush()
        command = [named, "-m", "tests.benchmarks.survival", file.name]
        told = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    return {"lifelines": json.loads(told.stdout)}


def _timed(act):
    began = time.perf_counter()
    result = act()
    return result, time.perf_counter() - began


def _memory() -> float:
    """The most this process has held so far, in MB."""
    told = Path("/proc/self/status")
    if told.exists():
        # What the system says of its resources counts its parent's before it began.
        (line,) = (x for x in told.read_text().splitlines() if x.startswith("VmHWM:"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


# --- the database, and what is said -------------------------------------------


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--rows", type=int, default=1_000_000, help="repairs")
    parser.add_argument("--pairs", type=int, default=5_000, help="of so many pairs")
    parser.add_argument("--database-url", help="a PostgreSQL that may make databases")
    parser.add_argument("--lifelines", help="a Python that has lifelines installed")
    parser.add_argument("--inside", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    os.environ["DJANGO_SETTINGS_MODULE"] = "shopdesk.settings"
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if asked.database_url:
        os.environ["DATABASE_URL"] = asked.database_url
    if asked.lifelines:
        os.environ[LIFELINES] = asked.lifelines
    if asked.inside:
        _set_up(asked.inside)
        print(json.dumps(measured(asked.rows)))
        return
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SHOPDESK_DATA"] = folder
        sizes = [n for n in (SMALLEST, 10 * SMALLEST) if n < asked.rows]
        found = [_at_size(n, pairs=asked.pairs) for n in (*sizes, asked.rows)]
    _say(found)


def _set_up(name: str | None = None) -> None:
    import django

    django.setup()
    from django.db import connection

    if name:
        connection.settings_dict["NAME"] = name


def _at_size(rows: int, *, pairs: int) -> dict:
    """A fresh database of this size, measured and taken away."""
    _set_up()
    from django.db import connection, transaction

    from tests.benchmarks.history import fill

    own = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    made = connection.settings_dict["NAME"]
    try:
        with transaction.atomic():
            _, took = _timed(lambda: fill(rows, pairs=min(pairs, rows // 20)))
        print(f"{rows:,} repairs written in {took:.0f} s", file=sys.stderr, flush=True)
        _settle(connection)
        connection.close()
        told = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.speed"]
            + ["--rows", str(rows), "--inside", str(made)],
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        )
        return json.loads(told.stdout) | {"vendor": connection.vendor}
    finally:
        connection.creation.destroy_test_db(own, verbosity=0)


def _settle(connection) -> None:
    """As PostgreSQL does by itself in a shop that is open longer than a minute."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")


def _say(found: list[dict]) -> None:
    from tests.benchmarks.machine import described

    print(described("numpy", "scipy", "django"))
    print(f"{found[0]['vendor']} {_version()}\n")
    head = (
        "repairs",
        "pairs",
        "floor, s",
        "three columns as they lie, s",
        "whole, s",
        "whole ÷ floor",
        "whole ÷ as they lie",
        "estimator, s",
        "of it Kaplan–Meier, s",
        "unchanged, s",
        "month's page, s",
        "memory at its most, MB",
        "of these before, MB",
        "statsmodels loop, s",
        "scipy.ecdf loop, s",
    )
    print("| " + " | ".join(head) + " |")
    print("|" + " ---: |" * len(head))
    for at in found:
        cells = (
            f"{at['repairs']:,}",
            f"{at['pairs']:,}",
            f"{at['floor']:.3f}",
            f"{at['bare']:.3f}",
            f"{at['whole']:.3f}",
            f"{at['whole'] / at['floor']:.2f}",
            f"{at['whole'] / at['bare']:.2f}",
            f"{at['estimator']:.3f}",
            f"{at['alone']:.3f}",
            f"{at['asked_again']:.4f}",
            f"{at['month']:.1f}",
            f"{at['memory']:.0f}",
            f"{at['began']:.0f}",
            f"{at['statsmodels']:.1f}",
            f"{at['scipy']:.1f}",
        )
        print("| " + " | ".join(cells) + " |")
    last = found[-1]
    loop = max(last["statsmodels"], last["scipy"])
    aims = (
        ("whole ÷ floor", last["whole"] / last["floor"], MOST_RATIO, "at most"),
        ("memory, MB", last["memory"], MOST_MEMORY, "at most"),
        ("estimator, s", last["estimator"], MOST_SECONDS, "at most"),
        *_faster(last),
    )
    print(f"\nAt {last['repairs']:,} repairs:\n")
    for name, value, aim, way in aims:
        is_met = value <= aim if way == "at most" else value >= aim
        print(
            f"- {name}: {value:.2f}, aimed at {way} {aim}:"
            f" {'met' if is_met else 'NOT met'}"
        )
    first = found[0]
    rise = {name: last[name] / first[name] for name in ("repairs", "floor", "whole")}
    print(
        "\nFrom the fewest repairs to the most, {repairs:.0f} times as many, the floor"
        " grows {floor:.0f} times and the whole {whole:.1f} times.".format(**rise)
    )
    print(
        "\nThe slower of the plain loops ÷ whole:"
        f" {loop / last['whole']:.2f}; ÷ Kaplan–Meier of all pairs at once, with"
        f" limits: {loop / last['alone']:.0f}."
    )
    print(
        f"\nThe libraries' loops are calculated from {SAMPLE} of the pairs, and do the"
        " Kaplan–Meier alone, from numbers already read."
    )


def _faster(last: dict) -> list[tuple]:
    """How much faster than a general survival library, as far as that was measured."""
    told = last.get("lifelines", {})
    if "kaplan_meier" not in told:
        why = told.get("missing", "name a Python that has it by --lifelines")
        print(f"\nThe loop of lifelines was not measured: {why}.")
        return []
    print(
        f"\nlifelines {told['version']}, every one of {told['pairs']:,} pairs in turn:"
        f" Kaplan–Meier {told['kaplan_meier']:.1f} s,"
        f" Nelson–Aalen {told['nelson_aalen']:.1f} s."
    )
    return [
        (
            f"Kaplan–Meier by lifelines ÷ {name}",
            told["kaplan_meier"] / last[part],
            LEAST_FASTER,
            "at least",
        )
        for name, part in (("whole", "whole"), ("estimator", "estimator"))
    ]


def _version() -> str:
    from django.db import connection

    version = (
        connection.Database.sqlite_version if connection.vendor == "sqlite" else ""
    )
    return version or ".".join(map(str, connection.get_database_version()))


if __name__ == "__main__":
    main()
