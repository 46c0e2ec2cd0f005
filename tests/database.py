"""Test databases, each created once in a run and copied for each process."""

import fcntl
import shutil
import sqlite3
from contextlib import closing, contextmanager

from django.conf import settings
from django.core.management import call_command
from django.db import connection


class Databases:
    """Template databases in the folder `shared` of this run, with copies in `own`, the
    folder of this process."""

    def __init__(self, shared, own):
        self.shared, self.own = shared, own
        kind = Files if connection.vendor == "sqlite" else OnTheServer
        self.store = kind(shared, own)

    @contextmanager
    def migrated(self):
        """Use a copy of the migrated database of an empty shop."""
        with self.copy("migrated", lambda: call_command("migrate", verbosity=0)):
            yield

    @contextmanager
    def copy(self, name, fill, *, of=None):
        """Use a copy of the template database `name` inside the `with` block.

        The first process creates the template: it copies the one named `of`, if any,
        and calls `fill`.
        """
        before = connection.settings_dict["NAME"]
        made = self.shared / f"{name}.made"
        with only_one(self.shared):
            if not made.exists():
                _use(self.store.make(name, of))
                try:
                    fill()
                finally:
                    _use(before)
                made.touch()
            copy = self.store.copy(name)
        _use(copy)
        yield
        _use(before)
        self.store.remove(copy)

    def reset(self):
        """Overwrite the SQLite database in use by the migrated one."""
        connection.ensure_connection()
        source = sqlite3.connect(self.shared / "migrated.sqlite3")
        with closing(source):
            source.backup(connection.connection)
        connection.close()


@contextmanager
def only_one(folder):
    """Let one process of this run at a time enter the `with` block."""
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _use(name):
    connection.close()
    settings.DATABASES["default"]["NAME"] = str(name)
    connection.settings_dict["NAME"] = str(name)


class Files:
    """SQLite databases. In memory, threads of the live server could not share them."""

    def __init__(self, shared, own):
        self.shared, self.own = shared, own

    def make(self, name, of):
        file = self.shared / f"{name}.sqlite3"
        file.unlink(missing_ok=True)
        if of:
            shutil.copyfile(self.shared / f"{of}.sqlite3", file)
        return file

    def copy(self, name):
        file = self.own / f"{name}.sqlite3"
        shutil.copyfile(self.shared / f"{name}.sqlite3", file)
        return file

    def remove(self, file):
        file.unlink()


class OnTheServer:
    """PostgreSQL databases. A template may have no open connection while copied."""

    def __init__(self, shared, own):
        self.prefix, self.own = f"test_{connection.settings_dict['NAME']}", own.name

    def make(self, name, of):
        return self._create(f"{self.prefix}_{name}", of and f"{self.prefix}_{of}")

    def copy(self, name):
        source = f"{self.prefix}_{name}"
        return self._create(f"{source}_{self.own}", source)

    def _create(self, name, template):
        self.remove(name)
        like = f" TEMPLATE {_quoted(template)}" if template else ""
        _on_the_server(f"CREATE DATABASE {_quoted(name)}{like}")
        return name

    def remove(self, name):
        _on_the_server(f"DROP DATABASE IF EXISTS {_quoted(name)} WITH (FORCE)")


def _quoted(name):
    return connection.ops.quote_name(name)


def _on_the_server(statement):
    with connection._nodb_cursor() as cursor:
        cursor.execute(statement)
