"""The database as it is at one moment, while others go on writing."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from django.db import connections, transaction

from shopdesk.keeping.archive import PART, ArchiveError

ALIAS = "snapshot"


@contextmanager
def snapshot(folder: Path, *, using: str = "default") -> Iterator[str]:
    """Yield the alias of a connection that sees one moment of the database.

    SQLite's readers would make writers wait, so its file is copied into `folder` first;
    PostgreSQL reads in one transaction.
    """
    connection = connections[using]
    if connection.vendor == "sqlite":
        with temporary_folder(folder) as private:
            copied = private / "copy.sqlite3"
            _copy(connection, copied)
            with _second_connection(using, NAME=str(copied)):
                yield ALIAS
        return
    with _second_connection(using), transaction.atomic(using=ALIAS):
        with connections[ALIAS].cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        yield ALIAS


@contextmanager
def temporary_folder(folder: Path) -> Iterator[Path]:
    """Yield a new folder inside `folder` that only its owner may read."""
    try:
        private = TemporaryDirectory(PART, f".{ALIAS}.", folder)
    except OSError as error:
        raise ArchiveError(f"{folder} cannot be written: {error.strerror}.") from error
    with private as name:
        yield Path(name)


def _copy(connection, file: Path) -> None:
    connection.ensure_connection()
    try:
        with closing(sqlite3.connect(file)) as target:
            connection.connection.backup(target)
    except sqlite3.Error as error:
        raise ArchiveError(
            f"The database cannot be copied to {file.parent}: {error}."
        ) from error


@contextmanager
def _second_connection(using: str, **changes) -> Iterator[None]:
    connections[ALIAS] = connections[using].copy(ALIAS)
    connections[ALIAS].settings_dict |= changes
    try:
        yield
    finally:
        connections[ALIAS].close()
        del connections[ALIAS]
