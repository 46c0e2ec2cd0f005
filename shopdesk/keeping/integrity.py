"""Whether the file of an SQLite database can be read."""

import sqlite3
from contextlib import closing
from pathlib import Path

from shopdesk.errors import RefusedError


class DamagedDatabaseError(RefusedError):
    """The file of the database is damaged; `str()` says how to restore a backup."""


def check_file(file: Path, *, backups: Path) -> None:
    """Raise DamagedDatabaseError if the database in `file` is damaged.

    A file that does not exist yet is fine. Pages and indexes are checked, not whether
    indexes agree with their tables: that takes longer and is part of `nightly`.
    """
    if not file.exists():
        return
    try:
        address = f"{file.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as database:
            found = [row[0] for row in database.execute("PRAGMA quick_check(3)")]
    except sqlite3.DatabaseError as error:
        found = [str(error)]
    if found != ["ok"]:
        raise DamagedDatabaseError(
            f"The database file {file} is damaged: {'; '.join(found)}.\n"
            f"Move it away and restore the last backup (see {backups}):\n"
            f"    mv {file} {file}.damaged\n"
            "    .venv/bin/python manage.py restore FILE"
        )
