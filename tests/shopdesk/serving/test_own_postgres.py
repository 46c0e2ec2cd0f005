"""PostgreSQL servers of these tests alone: a crash, and a replica for the analysis."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.db import connection, connections, transaction

from repairs.comebacks.output import FORMATS
from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import Scope
from shopdesk.shop.models import Shop
from tests import make
from tests.shopdesk.serving.conftest import OWNER, ROOT, Server, Visitor


def postgres(*words):
    command = ["bash", ROOT / ".ci" / "postgres", *words]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return ran.stdout.strip()


@pytest.fixture(scope="module")
def own_postgres():
    """A PostgreSQL with the tables of an empty shop: the folder and the address."""
    if connection.vendor != "postgresql":
        pytest.skip("is about PostgreSQL")
    # Short, as the path of a socket may have at most 100 characters.
    outer = tempfile.mkdtemp(prefix="shopdesk.", dir="/tmp")
    subprocess.run(["chmod", "711", outer], check=True)
    folder = f"{outer}/pg"
    try:
        url = postgres("start", folder)
        _run("manage.py", "migrate", "-v", "0", DATABASE_URL=url)
        yield folder, url
    finally:
        postgres("stop", folder)
        shutil.rmtree(outer)


def _run(*words, **settings):
    ran = subprocess.run(
        [sys.executable, *words],
        cwd=ROOT,
        env=os.environ | settings,
        capture_output=True,
        text=True,
    )
    assert ran.returncode == 0, ran.stderr
    return ran


# --- a replica, used in a process of its own ------------------------------------------


def use_replica(folder):
    """Do work and ask for the comeback table; print what was read where, as JSON."""
    make.shop()
    fault = make.fault("NO-CHARGE")
    fix = make.fix(fault)
    scope = Scope(as_of=make.DAY + timedelta(days=30), within=90)
    steps = []

    def repair(**facts):
        make.past_repair(fault, fix, on=make.DAY, **facts)

    def ask(step):
        """Note the repairs of the report, and who was asked for repairs."""
        asked = set()

        def note(execute, sql, parameters, many, context):
            if 'FROM "repairs_repair"' in sql:
                asked.add(context["connection"].alias)
            return execute(sql, parameters, many, context)

        wrapped = [connections[name].execute_wrapper(note) for name in connections]
        with wrapped[0], wrapped[1]:
            report = comeback_report(scope, shop=Shop.current())
        steps.append([step, report.repairs, report.comebacks, *sorted(asked)])
        return FORMATS["csv"](report)

    repair()
    repair(back_on=make.DAY + timedelta(days=8))
    from_copy = ask("at first")
    ask("unchanged")
    cache.clear()
    with transaction.atomic():
        same = ask("in a transaction") == from_copy
    repair()
    ask("after a repair")
    with connections["analysis"].cursor() as cursor:
        cursor.execute("SELECT pg_wal_replay_pause()")
    repair()
    ask("while the copy is late")
    repair()
    ask("soon after")
    with connections["analysis"].cursor() as cursor:
        cursor.execute("SELECT pg_wal_replay_resume()")
    cache.clear()
    ask("when the minute is over")
    postgres("stop", folder)
    repair()
    ask("without the copy")
    print(json.dumps({"steps": steps, "same": same}))


def test_the_analysis_reads_a_replica_that_has_everything(own_postgres):
    folder, url = own_postgres
    copy = f"{folder}-copy"
    copy_url = postgres("copy", folder, copy)
    code = f"""
import django
django.setup()
from tests.shopdesk.serving.test_own_postgres import use_replica
use_replica({copy!r})
"""
    try:
        ran = _run(
            "-c",
            code,
            DATABASE_URL=url,
            ANALYSIS_DATABASE_URL=copy_url,
            DJANGO_SETTINGS_MODULE="shopdesk.settings",
        )
    finally:
        postgres("stop", copy)
    told = json.loads(ran.stdout)
    assert told["steps"] == [
        ["at first", 2, 1, "analysis"],
        ["unchanged", 2, 1],
        ["in a transaction", 2, 1, "default"],
        ["after a repair", 3, 1, "analysis"],
        ["while the copy is late", 4, 1, "default"],
        ["soon after", 5, 1, "default"],
        ["when the minute is over", 5, 1, "analysis"],
        ["without the copy", 6, 1, "default"],
    ]
    assert told["same"]
    late, gone = ran.stderr.strip().splitlines()
    assert "is more than 2 s behind" in late and "failed" in gone


# --- a crash --------------------------------------------------------------------------


def test_only_requests_of_that_moment_fail(own_postgres, tmp_path):
    folder, url = own_postgres
    server = Server(tmp_path, DATABASE_URL=url)
    server.manage("shell", "-v", "0", "-c", OWNER)
    try:
        server.start()
        staff = Visitor(server.port)
        staff.sign_in()
        before = [staff.get("/").status for _ in range(4)]
        postgres("restart", folder)
        after = [staff.get("/").status for _ in range(8)]
        assert before + after == [200] * 12
        postgres("stop", folder)
        away = server.get("/health/")
        assert (away.status, away.text) == (503, "failed\n")
        assert away.headers["Retry-After"] == "10"
        page = staff.get("/")
        assert page.status == 503 and "database cannot be reached" in page.text
        assert "Traceback" not in page.text and folder not in page.text
    finally:
        server.stop()
