"""The databases of the tests: each made once in a run, and copied for each process."""

import fcntl
import shutil
import sqlite3
from contextlib import closing, contextmanager

from django.conf import settings
from django.core.management import call_command
from django.db import connection


class Databases:
    """`shared` is a folder of this run, `own` one of this process, which names it."""

    def __init__(self, shared, own):
        self.shared, self.own = shared, own
        kind = Files if connection.vendor == "sqlite" else OnTheServer
        self.kept = kind(shared, own)

    @contextmanager
    def migrated(self):
        """An empty shop's."""
        with self.copy("migrated", lambda: call_command("migrate", verbosity=0)):
            yield

    @contextmanager
    def copy(self, name, fill, *, of=None):
        """Within, the database in use is a copy of `name`. The first process that asks
        makes that one, by `fill`, of nothing or of the one named `of`."""
        before = connection.settings_dict["NAME"]
        made = self.shared / f"{name}.made"
        with only_one(self.shared):
            if not made.exists():
                _use(self.kept.make(name, of))
                try:
                    fill()
                finally:
                    _use(before)
                made.touch()
            copy = self.kept.copy(name)
        _use(copy)
        yield
        _use(before)
        self.kept.remove(copy)

    def begin_anew(self):
        """Overwrite the database in use, a file of SQLite's, by the empty shop's."""
        connection.ensure_connection()
        source = sqlite3.connect(self.shared / "migrated.sqlite3")
        with closing(source):
            source.backup(connection.connection)
        connection.close()


@contextmanager
def only_one(folder):
    """No two processes of this run are in here at once."""
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _use(name):
    connection.close()
    settings.DATABASES["default"]["NAME"] = str(name)
    connection.settings_dict["NAME"] = str(name)


class Files:
    """SQLite's. Files, since the live server's threads could not share a memory."""

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
    """PostgreSQL's, which copies a database that nobody reads at that moment."""

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
