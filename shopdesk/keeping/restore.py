"""Fill an empty database of either kind from a backup file."""

from contextlib import contextmanager
from pathlib import Path

import pyrage
from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import connections, transaction
from django.db.migrations.executor import MigrationExecutor

from shopdesk.keeping import tables
from shopdesk.keeping.archive import Archive, ArchiveError, row_count
from shopdesk.keeping.backup import Progress, nothing


def restore(
    file: Path,
    *,
    using: str = "default",
    start: Progress = nothing,
    progress: Progress = nothing,
) -> None:
    """Fill the empty database with the records of `file`: all of them, or none.

    An older backup is loaded as that version stored it, then migrated.

    Raises: ArchiveError if the file is damaged or newer than this program, or if the
    database is not empty.
    """
    with Archive(file) as archive:
        _check_version(archive, using=using)
        if has_records(using):
            raise ArchiveError(
                "The database is not empty. Restore into a new one, so that no record"
                " can be overwritten."
            )
        state = _migrate_to(archive.manifest["migrations"], using=using)
        start(row_count(archive.manifest))
        found = {m._meta.db_table: m for m in tables.stored_models(state)}
        if missing := archive.tables.keys() - found.keys():
            raise ArchiveError(
                f"{file} has unknown tables: {', '.join(sorted(missing))}."
            )
        with transaction.atomic(using=using), without_triggers(using):
            for table, facts in archive.tables.items():
                model = found[table]
                rows = archive.rows(table)
                for count in tables.insert(model, rows, facts["columns"], using=using):
                    progress(count)
            tables.set_sequences(list(found.values()), using=using)
            connections[using].check_constraints()
    call_command("migrate", database=using, verbosity=0)


def has_records(using: str) -> bool:
    """Whether the database holds anything beyond what `migrate` creates."""
    connection = connections[using]
    existing = set(connection.introspection.table_names())
    return any(
        model._meta.db_table in existing and model._base_manager.using(using).exists()
        for model in tables.stored_models(apps)
    )


def _check_version(archive: Archive, *, using: str) -> None:
    known = MigrationExecutor(connections[using]).loader.disk_migrations
    for app, name in archive.manifest["migrations"]:
        if (app, name) not in known:
            raise ArchiveError(
                f"{archive.path} was written by version {archive.manifest['version']},"
                f" which is newer than this program: it has no {app} {name}. Update"
                " the program first."
            )


def _migrate_to(migrations: list[list[str]], *, using: str):
    """Migrate to that state; return its models."""
    for app, name in migrations:
        call_command("migrate", app, name, database=using, verbosity=0)
    loader = MigrationExecutor(connections[using]).loader
    return loader.project_state([(app, name) for app, name in migrations]).apps


def restore_keys(file: Path, *, passphrase: str) -> list[Path]:
    """Write the keys in the backup to their files; return those files.

    Raises: ArchiveError if the backup has none, or the passphrase is wrong.
    """
    with Archive(file) as archive:
        encrypted = archive.keys
    if encrypted is None:
        raise ArchiveError(f"{file} was written without keys.")
    try:
        keys = pyrage.passphrase.decrypt(encrypted, passphrase).decode().splitlines()
    except pyrage.DecryptError as error:
        raise ArchiveError("The passphrase is wrong.") from error
    files = [settings.DATA_DIR / name for name in settings.KEY_FILES]
    for path, key in zip(files, keys, strict=True):
        part = path.with_name(f"{path.name}.part")
        part.touch(mode=0o600)
        part.write_text(key)
        part.replace(path)
    return files


@contextmanager
def without_triggers(using: str):
    """Load rows as they were stored: none of them is a change to refuse or to mark."""
    connection = connections[using]
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
            for name, _ in triggers:
                cursor.execute(f"DROP TRIGGER {connection.ops.quote_name(name)}")
            yield
            for _, sql in triggers:
                cursor.execute(sql)
        else:
            names = [model._meta.db_table for model in apps.get_models()]
            names = sorted(set(names) & set(connection.introspection.table_names()))
            for action in ("DISABLE", "ENABLE"):
                for name in names:
                    table = connection.ops.quote_name(name)
                    cursor.execute(f"ALTER TABLE {table} {action} TRIGGER USER")
                if action == "DISABLE":
                    yield
