"""How is a database brought to this version?

Guards and change marks are no part of the migrations: they are removed before the first
migration runs and created again, as this version declares them, after the last one. So
a migration may rebuild a guarded table, which drops its triggers in SQLite, and may
correct rows that nobody else may change. A migration that was interrupted leaves the
database without guards until `migrate` has run to its end.
"""

import fcntl
from collections.abc import Iterator
from contextlib import closing, contextmanager
from hashlib import sha256
from pathlib import Path

from django.db import connections, transaction
from django.db.migrations.executor import MigrationExecutor

from billing.guards import GUARDS as BILLING
from repairs.guards import GUARDS as REPAIRS
from shopdesk.guards import GUARDS as SHOPDESK

GUARDS = [*SHOPDESK, *REPAIRS, *BILLING]
PREFIXES = ("guard_", "notice_")
LOCK = 5_061_990_131
"""A number of our own, by which processes lock a PostgreSQL server."""


@contextmanager
def one_at_a_time(using: str) -> Iterator[None]:
    """Let one process at a time migrate the database; the others wait."""
    connection = connections[using]
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        if connection.is_in_memory_db():
            yield
            return
        with Path(f"{name}.migrating").open("w") as file:
            fcntl.flock(file, fcntl.LOCK_EX)
            yield
        return
    # On a connection of its own, the lock outlives the transactions of the migrations.
    with closing(connections[using].copy()) as own, own.cursor() as cursor:
        cursor.execute("SET lock_timeout = 0")
        cursor.execute("SELECT pg_advisory_lock(%s)", [LOCK])
        yield


def is_current(using: str) -> bool:
    """Whether every migration of this version has run."""
    executor = MigrationExecutor(connections[using])
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def has_guards(using: str) -> bool:
    """Whether the database has exactly the guards that this version declares."""
    vendor = connections[using].vendor
    return _found(using) == {
        name: _mark(source)
        for guard in GUARDS
        for name, source in _sources(guard.create(vendor), vendor).items()
    }


def create_guards(using: str) -> None:
    """Create the guards of this version, in place of all there are."""
    with transaction.atomic(using=using), connections[using].cursor() as cursor:
        remove_guards(using)
        for guard in GUARDS:
            statements = guard.create(connections[using].vendor)
            for statement in statements:
                cursor.execute(statement)
            if connections[using].vendor == "postgresql":
                mark = _mark(" ".join(statements))
                cursor.execute(f"COMMENT ON FUNCTION {guard.name}() IS '{mark}'")


def remove_guards(using: str) -> None:
    """Remove the guards of this or of an earlier version."""
    with transaction.atomic(using=using), connections[using].cursor() as cursor:
        for name in _found(using):
            if connections[using].vendor == "sqlite":
                cursor.execute(f"DROP TRIGGER {name}")
            else:
                cursor.execute(f"DROP FUNCTION {name}() CASCADE")


def _found(using: str) -> dict[str, str]:
    """Return the guards in the database, each with a mark of its source."""
    with connections[using].cursor() as cursor:
        if connections[using].vendor == "sqlite":
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            rows = [(name, _mark(sql)) for name, sql in cursor.fetchall()]
        else:
            cursor.execute(
                "SELECT proname, obj_description(oid, 'pg_proc') FROM pg_proc"
                " WHERE pronamespace = current_schema()::regnamespace"
            )
            rows = cursor.fetchall()
    return {name: mark for name, mark in rows if name.startswith(PREFIXES)}


def _sources(statements: list[str], vendor: str) -> dict[str, str]:
    """Return the triggers that the statements create, by name as the database has it.

    SQLite keeps one statement for each; in PostgreSQL a function stands for all.
    """
    names = [statement.split()[2].removesuffix("()") for statement in statements]
    if vendor == "sqlite":
        return dict(zip(names, statements, strict=True))
    return {names[0]: " ".join(statements)}


def _mark(source: str) -> str:
    return sha256(source.encode()).hexdigest()
