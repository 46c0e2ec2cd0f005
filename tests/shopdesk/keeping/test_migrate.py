"""`migrate`: one at a time, resumed after a crash, with guards at the end."""

import subprocess
import sys

import pytest
from django.conf import settings
from django.db import connection

from shopdesk.keeping import migrating, nightly
from tests.new_database import new_database

# Ends its own process, as a power cut would, before the tenth statement that begins
# with KILL_ON.
RUN = """
import os, signal, sys
import django
from django.conf import settings
modules = os.environ.get("MODULES")
if modules:
    sys.path.insert(0, modules)
    settings.MIGRATION_MODULES = {"repairs": "later_repairs"}
django.setup()
from django.core.management import call_command
from django.db import connection
left, kill_on = 10, os.environ.get("KILL_ON", "nothing")
def kill(execute, sql, params, many, context):
    global left
    left -= sql.startswith(kill_on)
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return execute(sql, params, many, context)
with connection.execute_wrapper(kill):
    call_command("migrate", verbosity=0)
"""
STATE = """
import django
django.setup()
from shopdesk.keeping import migrating
print(migrating.is_current("default"), migrating.has_guards("default"))
"""
WITHOUT_GUARDS = """
import django
django.setup()
from shopdesk.keeping import migrating
migrating.remove_guards("default")
"""
# Rebuilds a guarded table on SQLite, and corrects a row that nobody may change.
LATER = """
from django.db import migrations, models

def correct(apps, schema_editor):
    apps.get_model("repairs", "JobTransition").objects.update(why="corrected")

class Migration(migrations.Migration):
    dependencies = [("repairs", "{last}")]
    operations = [
        migrations.AddField(
            "jobtransition", "checked", models.BooleanField(default=False)
        ),
        migrations.AlterField(
            "stockmovement", "reason", models.CharField(max_length=450)
        ),
        migrations.RunPython(correct, migrations.RunPython.noop),
    ]
"""
FILL = """
import django
django.setup()
from tests import make
from repairs.jobs.models import JobTransition
from django.utils import timezone
make.part(number="P-1", on_hand=3)
JobTransition.objects.create(
    job=make.job(), from_state="", to_state="booked in", made_at=timezone.now()
)
"""
LOOK = """
import django
django.setup()
from django.db import DatabaseError, connection
with connection.cursor() as cursor:
    cursor.execute("SELECT why, checked FROM repairs_jobtransition")
    print(cursor.fetchall() in ([("corrected", False)], [("corrected", 0)]))
    cursor.execute("SELECT count(*) FROM repairs_stockmovement")
    print(cursor.fetchone()[0])
for table in ("repairs_jobtransition", "repairs_stockmovement"):
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {table}")
    except DatabaseError as refusal:
        print("refused")
"""


def start(script, env, **more):
    return subprocess.Popen(
        [sys.executable, "-c", script],
        cwd=settings.BASE_DIR,
        env=env | {name: str(value) for name, value in more.items()},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def run(script, env, **more):
    process = start(script, env, **more)
    said, errors = process.communicate(timeout=300)
    return process.returncode, said.split(), errors


@pytest.mark.django_db(transaction=True)
def test_two_at_once_and_a_crash_at_any_point(tmp_path):
    with new_database(tmp_path) as env:
        assert run(RUN, env, KILL_ON="CREATE TABLE")[0] == -9
        code, said, errors = run(STATE, env)
        assert (code, said) == (0, ["False", "False"]), errors
        # Both resume what is left of nearly all migrations: one works, the other waits.
        both = [start(RUN, env) for _ in range(2)]
        errors = [process.communicate(timeout=300)[1] for process in both]
        assert [process.returncode for process in both] == [0, 0], errors
        assert run(WITHOUT_GUARDS + STATE, env)[1] == ["True", "False"]
        assert run(RUN, env, KILL_ON="CREATE TRIGGER")[0] == -9
        assert run(STATE, env)[1] == ["True", "False"]
        code, _, errors = run(RUN, env)
        assert code == 0, errors
        assert run(STATE, env)[1] == ["True", "True"]


@pytest.mark.django_db(transaction=True)
def test_a_later_migration_may_rebuild_a_guarded_table(tmp_path):
    modules = tmp_path / "modules"
    later = modules / "later_repairs"
    later.mkdir(parents=True)
    there = settings.BASE_DIR / "repairs" / "migrations"
    (later / "__init__.py").write_text(f"__path__.append({str(there)!r})\n")
    last = max(path.stem for path in there.glob("0*.py"))
    (later / "0900_later.py").write_text(LATER.format(last=last))
    with new_database(tmp_path, like_this=True) as env:
        for script, more in ((FILL, {}), (RUN, {"MODULES": modules})):
            code, _, errors = run(script, env, **more)
            assert code == 0, errors
        code, said, errors = run(LOOK, env)
        assert (code, said) == (0, ["True", "1", "refused", "refused"]), errors
        assert run(STATE, env)[1][1] == "True"


@pytest.mark.django_db
def test_missing_guards_are_noticed_and_come_back():
    assert migrating.has_guards("default")
    with connection.cursor() as cursor:
        found = sorted(migrating._found("default"))[0]
        if connection.vendor == "sqlite":
            cursor.execute(f"DROP TRIGGER {found}")
        else:
            cursor.execute(f"DROP FUNCTION {found}() CASCADE")
    assert not migrating.has_guards("default")
    assert "guards" in " ".join(nightly.problems())
    migrating.create_guards("default")
    assert migrating.has_guards("default")
