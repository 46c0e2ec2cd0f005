"""A damaged database is not served; the message says how to restore a backup."""

import re
import sqlite3
from contextlib import closing

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from shopdesk.keeping.integrity import DamagedDatabaseError, check_file


@pytest.fixture
def file(tmp_path):
    with closing(sqlite3.connect(tmp_path / "desk.sqlite3")) as database, database:
        database.execute("CREATE TABLE job (number TEXT UNIQUE)")
        rows = [(f"26-{n:05} {'x' * 50}",) for n in range(2000)]
        database.executemany("INSERT INTO job VALUES (?)", rows)
    return tmp_path / "desk.sqlite3"


def test_a_sound_file_and_one_that_is_not_there_yet_are_fine(file, tmp_path):
    before = file.read_bytes()
    check_file(file, backups=tmp_path)
    check_file(tmp_path / "none.sqlite3", backups=tmp_path)
    assert file.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["desk.sqlite3"]


def header_gone(data):
    return b"\0" * 100 + data[100:]


def page_gone(data):
    return data[: 10 * 4096] + b"\xff" * 4096 + data[11 * 4096 :]


def end_gone(data):
    return data[: len(data) // 2]


@pytest.mark.parametrize("damage", [header_gone, page_gone, end_gone])
def test_a_damaged_file_is_named_with_the_command_that_restores(file, tmp_path, damage):
    file.write_bytes(damage(file.read_bytes()))
    sentence = re.escape(f"The database file {file} is damaged: ")
    with pytest.raises(DamagedDatabaseError, match=sentence) as refusal:
        check_file(file, backups=tmp_path)
    assert "manage.py restore FILE" in str(refusal.value)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="it checks SQLite's file")
def test_the_command_stops_the_start(file, monkeypatch):
    call_command("check_database")
    file.write_bytes(b"no database at all")
    monkeypatch.setitem(connection.settings_dict, "NAME", str(file))
    with pytest.raises(CommandError, match="is damaged"):
        call_command("check_database")
