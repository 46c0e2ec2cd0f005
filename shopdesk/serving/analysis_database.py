"""Read the comeback analysis from a copy of the database, if the shop has one.

The copy is a streaming replica of PostgreSQL, named by ANALYSIS_DATABASE_URL. It is
used only when it has everything that was committed before the question, so an answer
never depends on where it was read. In all other cases the main database answers.
"""

import logging
import time
from collections.abc import Callable
from contextvars import ContextVar
from typing import TypeVar

from django.core.cache import cache
from django.db import DEFAULT_DB_ALIAS, Error, NotSupportedError, connections

COPY = "analysis"
WAIT = 2.0
"""Seconds that the copy gets to catch up."""
PAUSE = 60
"""Seconds without a try after the copy failed or was late."""
_OUT_OF_USE = "analysis-database-out-of-use"

_reads_from: ContextVar[str] = ContextVar("reads_from", default=DEFAULT_DB_ALIAS)
log = logging.getLogger(__name__)
Result = TypeVar("Result")


class AnalysisRouter:
    """All reads and writes go to the main database, but those of an analysis."""

    def db_for_read(self, model, **hints):
        return _reads_from.get()

    def db_for_write(self, model, **hints):
        # Not where a record was read: nothing can be written to the copy.
        return DEFAULT_DB_ALIAS

    def allow_relation(self, one, other, **hints):
        return True

    def allow_migrate(self, db, app_label, **hints):
        return db == DEFAULT_DB_ALIAS


def read_from_copy(calculate: Callable[[], Result]) -> Result:
    """Return what `calculate` returns; its queries go to the copy if that can answer.

    `calculate` only reads, and is called again if the copy fails meanwhile.
    """
    if not _can_ask_copy():
        return calculate()
    try:
        if _has_caught_up():
            return _reading_from(COPY, calculate)
        problem = f"is more than {WAIT:g} s behind"
    except Error as error:
        # Also a query that the copy ended because it could not wait for it.
        problem = f"failed: {' '.join(str(error).split())}"
        connections[COPY].close()
    log.warning(
        "The copy of the database for the analysis %s. The main database is read for"
        " the next %d s.",
        problem,
        PAUSE,
    )
    cache.set(_OUT_OF_USE, True, PAUSE)
    return calculate()


def _can_ask_copy() -> bool:
    return (
        COPY in connections.databases
        and _reads_from.get() != COPY
        # What this transaction has written is not in the copy.
        and not connections[DEFAULT_DB_ALIAS].in_atomic_block
        and not cache.get(_OUT_OF_USE)
    )


def _has_caught_up() -> bool:
    """Whether the copy has, within `WAIT`, what the main database has at this moment.

    Compares positions in the log of changes, which only grow.
    """
    position = _value(DEFAULT_DB_ALIAS, "SELECT pg_current_wal_insert_lsn()")
    end = time.monotonic() + WAIT
    has_it = "SELECT pg_last_wal_replay_lsn() >= %s::pg_lsn"
    while not (answer := _value(COPY, has_it, position)):
        if answer is None:
            raise NotSupportedError("it is not a replica")
        if time.monotonic() > end:
            return False
        time.sleep(0.02)
    return True


def _value(alias: str, sql: str, *parameters: object) -> object:
    with connections[alias].cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchone()[0]


def _reading_from(alias: str, calculate: Callable[[], Result]) -> Result:
    token = _reads_from.set(alias)
    try:
        return calculate()
    finally:
        _reads_from.reset(token)
