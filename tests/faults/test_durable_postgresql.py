"""The shop does not start on a PostgreSQL that a power cut would damage."""

import subprocess
import sys

import psycopg

from tests.shopdesk.serving.conftest import ROOT, Server
from tests.shopdesk.serving.test_own_postgres import own_postgres, postgres

__all__ = ["own_postgres"]  # a fixture


def test_settings_that_lose_records_are_named_and_stop_the_start(
    own_postgres, tmp_path
):
    folder, url = own_postgres  # started for tests: it does not wait for the disk
    server = Server(tmp_path, DATABASE_URL=url, SILENCED_CHECKS="")

    def run(*words, **more):
        return subprocess.run(
            [sys.executable, ROOT / "manage.py", *words],
            env=server.environment | more,
            capture_output=True,
            text=True,
        )

    refused = run("check_database")
    assert refused.returncode == 1 and "Traceback" not in refused.stderr
    assert "fsync=off and full_page_writes=off and synchronous_commit=off" in (
        refused.stderr
    )
    assert "postgresql.conf" in refused.stderr
    assert "power cut" in run("migrate").stderr
    assert run("check_database", SILENCED_CHECKS="shopdesk.E002").returncode == 0
    with psycopg.connect(url.replace("s:", "sql:", 1), autocommit=True) as db:
        for name in ("fsync", "full_page_writes", "synchronous_commit"):
            db.execute(f"ALTER SYSTEM SET {name} = on")
    postgres("restart", folder)
    assert run("check_database").returncode == 0
    assert run("check", "--database", "default").returncode == 0
    postgres("stop", folder)
    # A database that is away is no reason not to start: pages say so until it is back.
    away = run("check_database")
    assert away.returncode == 0 and "cannot be asked yet" in away.stderr
