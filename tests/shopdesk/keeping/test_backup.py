"""A backup file holds the whole shop, opens on both databases, and names its damage."""

import json
import re
import subprocess
import sys
import zipfile
from contextlib import contextmanager
from hashlib import sha256
from io import StringIO

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, connections
from django.db.backends.sqlite3.base import DatabaseWrapper

from repairs.customers.models import Customer
from repairs.jobs.models import JobTransition
from repairs.photos.queries import first_damaged
from shopdesk.keeping.archive import Archive, ArchiveError
from shopdesk.keeping.backup import backup, verify
from shopdesk.keeping.restore import has_records, restore, restore_keys
from tests import make

pytestmark = pytest.mark.django_db(transaction=True)


@contextmanager
def empty_database(databases, tmp_path, vendor=connection.vendor, *, of=None):
    """Yield the alias of a new database of that kind; `of` is its template."""
    if vendor == connection.vendor:
        other, name = connection.copy("restored"), databases.store.make("restored", of)
        other.settings_dict["NAME"] = str(name)
    else:
        facts = {"NAME": tmp_path / "restored.sqlite3", "OPTIONS": {}}
        other = DatabaseWrapper({**connection.settings_dict, **facts}, "restored")
    connections["restored"] = other
    try:
        yield "restored"
    finally:
        other.close()
        del connections["restored"]
        if vendor == connection.vendor:
            databases.store.remove(name)


@pytest.fixture
def shop(tmp_path):
    """The backup of a shop with one job."""
    make.shop(name="Tallow & Finch")
    make.job(complaint="Hums “loudly” 🔊\n\x1fat night")
    backup(tmp_path / "shop.zip")
    return tmp_path / "shop.zip"


def triggers(alias):
    tables = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
        " AND tgenabled = 'O'",
    }
    with connections[alias].cursor() as cursor:
        cursor.execute(tables[connections[alias].vendor])
        return {name for (name,) in cursor.fetchall()}


def test_the_demo_shop_moves_between_databases_and_nothing_changes(
    own_demo, databases, tmp_path
):
    backup(tmp_path / "first.zip")
    first = verify(tmp_path / "first.zip")
    assert first["tables"]["repairs_job"]["rows"] > 500
    assert first["tables"]["repairs_photofile"]["rows"] > 1
    assert sum(table["rows"] > 0 for table in first["tables"].values()) > 40
    for vendor in {"sqlite", connection.vendor}:
        with empty_database(databases, tmp_path, vendor) as alias:
            restore(tmp_path / "first.zip", using=alias)
            assert first_damaged(alias) == ""
            backup(tmp_path / f"{vendor}.zip", using=alias)
            again = verify(tmp_path / f"{vendor}.zip")
            assert again["tables"] == first["tables"]
            if vendor == connection.vendor:
                assert triggers(alias) == triggers("default")
            with pytest.raises(DatabaseError, match="cannot be changed"):
                JobTransition.objects.using(alias).update(why="rewritten")
            numbers = Customer.objects.using(alias).order_by("-pk")
            last = numbers.first().pk
            assert numbers.create(name="The next one").pk == last + 1


def test_a_backup_shows_one_moment_while_others_write(tmp_path):
    make.job()

    def write(rows):
        make.customer("Someone who came in meanwhile")

    backup(tmp_path / "shop.zip", start=write, progress=write)
    with Archive(tmp_path / "shop.zip") as archive:
        assert archive.tables["repairs_customer"]["rows"] == 1
    assert Customer.objects.count() > 2


def test_a_restore_needs_an_empty_database(shop):
    with pytest.raises(ArchiveError, match="not empty"):
        restore(shop)
    assert Customer.objects.count() == 1


def test_a_backup_never_overwrites_and_leaves_nothing_half_written(shop, tmp_path):
    before = shop.read_bytes()
    with pytest.raises(ArchiveError, match="exists already"):
        backup(shop)
    assert shop.read_bytes() == before

    def power_cut(rows):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        backup(tmp_path / "other.zip", progress=power_cut)
    with pytest.raises(ArchiveError, match="cannot be (written|copied)"):
        backup(tmp_path / "nowhere" / "other.zip")
    assert [file.name for file in tmp_path.iterdir()] == ["shop.zip"]
    assert shop.stat().st_mode & 0o077 == 0, "only the owner may read it"


KILLED = """
import os, sys
from pathlib import Path
import django
django.setup()
from django.db import connection
from shopdesk.keeping.backup import backup
connection.settings_dict["NAME"] = sys.argv[1]
backup(Path(sys.argv[2]), progress=lambda rows: os.kill(os.getpid(), 9))
"""


def test_a_killed_backup_is_no_backup_and_the_next_one_works(shop, tmp_path):
    file = tmp_path / "killed.zip"
    command = [
        sys.executable,
        "-c",
        KILLED,
        str(connection.settings_dict["NAME"]),
        file,
    ]
    killed = subprocess.run(command, cwd=settings.BASE_DIR, check=False)
    assert killed.returncode == -9
    assert not file.exists()
    left = [path for path in tmp_path.iterdir() if path.suffix == ".part"]
    assert left and all(path.stat().st_mode & 0o077 == 0 for path in left)
    backup(file)
    assert verify(file)["tables"]["repairs_job"]["rows"] == 1


def rewritten(file, change):
    """Write the archive anew with `change(name, data)` in place of each member."""
    with zipfile.ZipFile(file) as old:
        members = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(file, "w") as new:
        for name, data in members.items():
            if (data := change(name, data)) is not None:
                new.writestr(name, data)


def manifest_with(**facts):
    def change(name, data):
        if name == "manifest.json":
            data = json.dumps(json.loads(data) | facts).encode()
            change.hash = sha256(data).hexdigest()
        return change.hash if name == "manifest.sha256" else data

    return change


JOBS = "tables/repairs_job.jsonl"
DAMAGE = {
    "a job was changed": (
        lambda name, data: data.replace(b"Hums", b"Buzz"),
        f"{JOBS} was changed or is damaged",
    ),
    "a job is missing": (
        lambda name, data: b"" if name == JOBS else data,
        f"{JOBS} has 0 rows instead of 1",
    ),
    "a row has lost a column": (
        lambda name, data: b"[1]\n" if name == JOBS else data,
        f"{JOBS} is damaged: line 1 has another number of columns",
    ),
    "no longer text": (
        lambda name, data: b"\xff\n" if name == JOBS else data,
        f"{JOBS} is damaged",
    ),
    "a table is missing": (
        lambda name, data: None if name == JOBS else data,
        f"{JOBS} is damaged",
    ),
    "the manifest was changed": (
        lambda name, data: data.replace(b'"rows": 1', b'"rows": 2'),
        "manifest.json was changed or is damaged",
    ),
    "no manifest": (
        lambda name, data: None if name == "manifest.json" else data,
        "manifest.json is missing or damaged",
    ),
    "a later format": (manifest_with(format=2), "in a newer format"),
    "a later version": (
        manifest_with(version="9.0", migrations=[["repairs", "0999_later"]]),
        "version 9.0, which is newer than this program: it has no repairs 0999_later",
    ),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_backup_is_named_and_nothing_is_restored(
    shop, databases, tmp_path, damage
):
    change, sentence = DAMAGE[damage]
    rewritten(shop, change)
    if damage != "a later version":
        with pytest.raises(ArchiveError, match=re.escape(sentence)):
            verify(shop)
    with empty_database(databases, tmp_path, of="migrated") as alias:
        with pytest.raises(ArchiveError, match=re.escape(sentence)):
            restore(shop, using=alias)
        assert not has_records(alias)
        assert triggers(alias) == triggers("default")


def test_a_byte_that_flips_anywhere_or_a_lost_end_is_found(shop):
    data = shop.read_bytes()
    for part in (0.0, 0.02, 0.3, 0.5, 0.9):
        shop.write_bytes(data[: int(len(data) * part)])
        with pytest.raises(ArchiveError, match="end is missing"):
            verify(shop)
    shop.write_bytes(data)
    with zipfile.ZipFile(shop) as archive:
        inside = archive.getinfo(JOBS)
        start = inside.header_offset + 30 + len(JOBS) + 20
        stop = start + inside.compress_size - 20
    for place in range(start, stop, 7):
        flipped = bytearray(data)
        flipped[place] ^= 0x10
        shop.write_bytes(flipped)
        with pytest.raises(ArchiveError, match=re.escape(JOBS)):
            verify(shop)


def test_keys_are_left_out_unless_a_passphrase_is_given(shop, tmp_path, settings):
    settings.DATA_DIR = tmp_path
    settings.ACCESS_CODE_KEY, settings.SEAL_KEY_FILE = "key-of-the-access-codes", None
    with pytest.raises(ArchiveError, match="without keys"):
        restore_keys(shop, passphrase="a long passphrase")
    backup(tmp_path / "keys.zip", passphrase="a long passphrase")
    for file in (shop, tmp_path / "keys.zip"):
        with zipfile.ZipFile(file) as archive:
            inside = b"".join(archive.read(name) for name in archive.namelist())
        assert settings.SECRET_KEY.encode() not in inside
        assert b"key-of-the-access-codes" not in inside
    with pytest.raises(ArchiveError, match="passphrase is wrong"):
        restore_keys(tmp_path / "keys.zip", passphrase="another passphrase")
    written = restore_keys(tmp_path / "keys.zip", passphrase="a long passphrase")
    assert [path.name for path in written] == settings.KEY_FILES
    assert [path.read_text() for path in written] == [
        settings.SECRET_KEY,
        "key-of-the-access-codes",
    ]
    assert all(path.stat().st_mode & 0o077 == 0 for path in written)


def test_the_commands_say_what_they_did(shop, tmp_path):
    out = StringIO()
    file = tmp_path / "by-command.zip"
    call_command("backup", str(file), stdout=out)
    call_command("verify_backup", str(file), stdout=out)
    assert re.search(r"rows, verified\.", out.getvalue())
    assert re.search(r"is complete: \d+ rows, backed up \S+ by version", out.getvalue())
    with pytest.raises(CommandError, match="exists already"):
        call_command("backup", str(file), stdout=out)
    with pytest.raises(CommandError, match="not empty"):
        call_command("restore", str(file), stdout=out)
    file.write_text("no archive")
    with pytest.raises(CommandError, match="is not a backup file"):
        call_command("verify_backup", str(file), stdout=out)
