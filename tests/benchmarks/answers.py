"""How long does the diagnosis take in a large shop?

    .venv/bin/python -m tests.benchmarks.answers [--jobs 110000] [--database-url …]

An invented shop with 300 faults and 120 models is written into a new database. Then it
is learnt from, asked, replayed and told of one more closed job.
"""

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from uuid import UUID

import numpy as np

from tests.benchmarks.diagnosis import InventedShop, Scenario
from tests.benchmarks.machine import described

FIRST, DAYS = date(2020, 1, 1), 2000
BATCH = 2000
ASKED = 200


def fill(jobs: int) -> None:
    """Write customers, models, the fault book and closed jobs."""
    from django.utils import timezone

    from repairs.customers.models import Customer, Device, DeviceModel
    from repairs.faults.models import Check, Fault, Fix, Symptom
    from repairs.jobs import states
    from repairs.jobs.models import CheckResult, Job, Repair

    scenario = Scenario("large", faults=300, models=120)
    shop = InventedShop(scenario, np.random.default_rng(3))
    owner = Customer.objects.create(name="Somebody")
    kinds = shop.kind_of.tolist()
    models = [
        DeviceModel.objects.create(kind=f"kind {k}", model=f"M{n}", family=f"F{n // 3}")
        for n, k in enumerate(kinds)
    ]
    devices = [Device.objects.create(model=model, owner=owner) for model in models]
    symptoms = [Symptom.objects.create(name=f"symptom {n}") for n in range(25)]
    checks = [
        Check.objects.create(name=f"check {n}", results="0;1;2") for n in range(8)
    ]
    fix = Fix.objects.create(code="FIX", name="Fix")
    faults = [Fault.objects.create(code=f"F-{n}", name=f"F {n}") for n in range(300)]
    now = timezone.now()
    for start in range(0, jobs, BATCH):
        drawn = [shop.job() for _ in range(min(BATCH, jobs - start))]
        days = [
            FIRST + timedelta(days=(start + n) * DAYS // jobs) for n in range(BATCH)
        ]
        made = Job.objects.bulk_create(
            Job(
                number=f"B-{start + n:06d}",
                key=UUID(int=start + n + 1),
                device=devices[model],
                customer=owner,
                state=states.HANDED_OVER,
                outcome=states.FIXED,
                complaint=" ".join(_word(int(w)) for w in sorted(evidence.words)),
                booked_in_on=days[n],
                handed_over_on=days[n],
                is_from_history=True,
            )
            for n, (model, _, evidence) in enumerate(drawn)
        )
        Repair.objects.bulk_create(
            Repair(
                job=job,
                fault=faults[fault],
                fix=fix,
                fix_type="lasting",
                outcome=states.FIXED,
                handed_over_on=job.handed_over_on,
            )
            for job, (_, fault, _) in zip(made, drawn, strict=True)
        )
        Job.symptoms.through.objects.bulk_create(
            Job.symptoms.through(job=job, symptom=symptoms[n])
            for job, (_, _, evidence) in zip(made, drawn, strict=True)
            for n in evidence.symptoms
        )
        CheckResult.objects.bulk_create(
            CheckResult(job=job, check_made=checks[n], result=result, made_at=now)
            for job, (_, _, evidence) in zip(made, drawn, strict=True)
            for n, result in evidence.results.items()
        )


def _word(number: int) -> str:
    """Return a word of letters that no stemmer shortens."""
    return (
        "q"
        + "bcdfghjklm"[number // 10 % 10]
        + "ao"[number // 100]
        + ("bcdfghjklm"[number % 10] + "o")
    )


def timed(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def measure() -> None:
    from repairs.diagnosis import learning, queries
    from repairs.diagnosis.models import LearntCount
    from repairs.diagnosis.panel import WhatWeKnow
    from repairs.diagnosis.past_cases import load_past
    from repairs.diagnosis.replaying import replay
    from repairs.jobs.models import Job

    def row(name: str, seconds: list[float]) -> None:
        ordered = sorted(seconds)
        last = ordered[int(len(ordered) * 0.95)] if len(ordered) > 1 else ordered[0]
        middle = statistics.median(ordered)
        print(
            f"| {name} | {middle * 1000:,.1f} ms | {last * 1000:,.1f} ms |", flush=True
        )

    print("| what | median | 95 % |\n| --- | ---: | ---: |")
    row("learning from all jobs", [timed(learning.learn_all)])
    rows = LearntCount.objects.count()
    picked = list(
        Job.objects.select_related("device__model").order_by("-pk")[: 20 * ASKED : 20]
    )

    def panels():
        return [WhatWeKnow(job, may=True) for job in picked]

    row(
        "likely faults of a job (an answer)",
        [timed(lambda p=p: queries.likely_faults(p.ranking)) for p in panels()],
    )
    row(
        "the whole panel without its fixes",
        [
            timed(lambda p=p: (p.faults, p.similar, p.next_checks, p.results))
            for p in panels()
        ],
    )
    row(
        "forgetting and learning one job again",
        [timed(lambda job=job: learning.after_closing(job)) for job in picked[:50]],
    )
    row("check that the counts are right", [timed(learning.first_difference)])
    cases = load_past()
    row("replay without scikit-learn’s", [timed(lambda: replay(cases, library=False))])
    print(f"\n{len(cases):,} jobs, {rows:,} rows of counts")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=110_000)
    parser.add_argument("--database-url", default="")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "SHOPDESK_DATA": folder,
            "DATABASE_URL": args.database_url,
            "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        }
        import django
        from django.core.management import call_command
        from django.db import connection

        django.setup()
        call_command("migrate", verbosity=0)
        fill(args.jobs)
        print(f"{described('django', 'numpy')}, {connection.vendor}\n")
        measure()


if __name__ == "__main__":
    main()
