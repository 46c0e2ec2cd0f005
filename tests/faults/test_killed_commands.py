"""A restore or an import that is killed anywhere has done all of it, or nothing."""

import json
import os
import signal
import subprocess
import sys

from django.conf import settings
from django.db import connection

from shopdesk.keeping.backup import backup, verify
from tests.faults import sound
from tests.faults.conftest import database_url
from tests.repairs.history.files import back, row, write

ROUNDS = int(os.environ.get("FAULT_ROUNDS", 1)) * 4
SEED = int(os.environ.get("FAULT_SEED", 1))


def killed_again_and_again(databases, folder, *words, of):
    """Run the command in the database that is in use; `of` is what it is a copy of."""
    copy = databases.store.make(f"counted_{databases.own.name}", of)
    connection.close()
    environment = os.environ | {"SHOPDESK_DATA": str(folder / "data")}
    command = ["-m", "tests.faults.kill_points", str(copy), str(ROUNDS), str(SEED)]
    try:
        ran = subprocess.run(
            [sys.executable, *command, *words],
            cwd=settings.BASE_DIR,
            env=environment | {"DATABASE_URL": database_url()},
            capture_output=True,
            text=True,
        )
    finally:
        databases.store.remove(copy)
    assert ran.returncode == 0, ran.stderr
    found = json.loads(ran.stdout.splitlines()[-1])
    for kill in found["kills"]:
        assert kill["status"] == -signal.SIGKILL, (kill["at"], found["total"])
        assert kill["state"] in (found["before"], found["after"]), kill
    assert len(found["kills"]) > 1 and found["total"] > 20
    assert found["status"] == 0 or found["kills"][-1]["state"] == found["after"]
    return found


def test_an_import(shop, databases, tmp_path):
    others = [row(job=f"25-00{n}", serial=f"S{n}") for n in range(100, 140)]
    rows = [row(), back(), *others]
    file = write(tmp_path, *rows)
    found = killed_again_and_again(
        databases, tmp_path, "import_history", str(file), of="busy"
    )
    jobs = [found[when]["repairs_job"] for when in ("before", "after")]
    assert jobs[1] - jobs[0] == len(rows)
    assert [one for one in sound.wrong() if not one.startswith("job 2025")] == []


def test_a_restore(shop, databases, tmp_path):
    backup(tmp_path / "shop.zip")
    manifest = verify(tmp_path / "shop.zip")
    with databases.copy("empty", lambda: None, of="migrated"):
        found = killed_again_and_again(
            databases, tmp_path, "restore", str(tmp_path / "shop.zip"), of="migrated"
        )
        assert found["before"] == {}
        rows = {name: facts["rows"] for name, facts in manifest["tables"].items()}
        assert {name: found["after"].get(name, 0) for name in rows} == (
            rows | {"shopdesk_trailentry": 0}
        )
        assert list(sound.wrong()) == []
