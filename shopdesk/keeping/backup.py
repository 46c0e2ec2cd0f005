"""Write the whole shop into one file, and check such a file."""

from collections.abc import Callable
from pathlib import Path

import pyrage
from django.apps import apps
from django.conf import settings
from django.db import connections
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from shopdesk.keeping import tables
from shopdesk.keeping.archive import Archive, Writer, replaced_when_complete, row_count
from shopdesk.keeping.snapshot import snapshot
from shopdesk.seal_keys import seal_keys
from shopdesk.version import VERSION

Progress = Callable[[int], object]


def nothing(rows: int) -> None:
    """Report no progress."""


def backup(
    file: Path,
    *,
    using: str = "default",
    passphrase: str = "",
    start: Progress = nothing,
    progress: Progress = nothing,
) -> None:
    """Write all records and stored documents into `file`, as of one moment.

    With a passphrase the keys are included, encrypted with it. `start` gets the number
    of rows, `progress` that of each batch written.

    Raises: ArchiveError if the file exists or cannot be written.
    """
    with replaced_when_complete(file) as part, snapshot(part.parent, using=using) as at:
        found = tables.stored_models(apps)
        start(sum(model._base_manager.using(at).count() for model in found))
        writer = Writer(
            part,
            version=VERSION,
            made_at=timezone.now().isoformat(timespec="seconds"),
            migrations=applied_migrations(at),
        )
        for model in found:
            rows = tables.read(model, using=at)
            writer.add_table(
                model._meta.db_table, tables.columns(model), _counted(rows, progress)
            )
        writer.close(keys=_encrypted_keys(passphrase) if passphrase else None)


def verify(file: Path, *, start: Progress = nothing, progress: Progress = nothing):
    """Read the whole file; return its manifest.

    Raises: ArchiveError, which names the part that is damaged.
    """
    with Archive(file) as archive:
        start(row_count(archive.manifest))
        for table in archive.tables:
            for _ in _counted(archive.rows(table), progress):
                pass
        return archive.manifest


def applied_migrations(alias: str) -> list[list[str]]:
    """Return the last applied migration of each app whose tables are in a backup."""
    applied = MigrationRecorder(connections[alias]).applied_migrations()
    last: dict[str, str] = {}
    for app, name in sorted(applied):
        if app in tables.APPS:
            last[app] = name
    return [[app, name] for app, name in last.items()]


def _counted(rows, progress: Progress):
    count = 0
    for count, row in enumerate(rows, 1):
        yield row
        if count % tables.BATCH == 0:
            progress(tables.BATCH)
    progress(count % tables.BATCH)


def _encrypted_keys(passphrase: str) -> bytes:
    keys = f"{settings.SECRET_KEY}\n{seal_keys()[0]}\n"
    return pyrage.passphrase.encrypt(keys.encode(), passphrase)
