"""A shop of every release can be updated to this version, and nothing is lost."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

from tests.new_database import new_database
from tests.releases.facts import APPS, hashes_of_migrations

HERE = Path(__file__).parent
RELEASES = sorted(file.stem for file in HERE.glob("*.json"))
# What a migration may import: it must give the same for ever.
LASTING = ("django", "decimal", "uuid", "datetime", "shopdesk.fields")
LASTING += ("shopdesk.shop.currencies",)  # the choices of a setting


def _run(env, *command):
    done = subprocess.run(
        [sys.executable, *command],
        cwd=settings.BASE_DIR,
        env=env,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _expected(release):
    return json.loads((HERE / f"{release}.json").read_text())


@pytest.mark.parametrize("release", RELEASES)
def test_released_migrations_are_never_changed(release):
    now = hashes_of_migrations()
    kept = _expected(release)["migrations"]
    assert {name: now.get(name) for name in kept} == kept


def test_migrations_import_nothing_that_changes_later():
    wrong = [
        (name, imported)
        for name in hashes_of_migrations()
        for imported in _imports(settings.BASE_DIR / name.replace("/", "/migrations/"))
        if not imported.startswith(LASTING)
    ]
    assert wrong == []


def _imports(file):
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module or ""


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("release", RELEASES)
def test_a_shop_of_a_release_is_updated_and_nothing_is_lost(release, tmp_path):
    """The records are loaded as that release stored them, then migrated."""
    expected = _expected(release)
    assert expected["rows"]["repairs_job"] >= 5_000 and all(expected["rows"].values())
    with new_database(tmp_path) as env:
        _run(env, "manage.py", "restore", str(HERE / f"{release}.zip"))
        facts = _run(env, "-m", "tests.releases.facts", expected["on"])
        checked = _run(env, "manage.py", "check", "--database", "default")
        trail = _run(env, "manage.py", "verify_trail")
    now = json.loads(facts)
    # The restore itself is one entry of the trail.
    expected["rows"]["shopdesk_trailentry"] += 1
    for what in ("rows", "sums"):
        assert {name: now[what].get(name) for name in expected[what]} == expected[what]
    assert _rounded(now["monthly_table"]) == _rounded(expected["monthly_table"])
    assert "no issues" in checked and trail


def _rounded(table):
    """The rows to nine decimals: the last digits of a fit depend on the processor."""
    return [
        {
            name: round(value, 9) if isinstance(value, float) else value
            for name, value in row.items()
        }
        for row in table
    ]


def test_every_app_has_released_migrations():
    for release in RELEASES:
        apps = {name.partition("/")[0] for name in _expected(release)["migrations"]}
        assert apps == set(APPS)
