"""The chain of the trail: each entry's hash covers that of the entry before.

Entries are written without a position, so that writers do not wait for each other, and
sealed in a short transaction after their own. Entries that a crash left unsealed are
sealed with the next ones.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connections, transaction

from shopdesk.recording.canonical import hash_of
from shopdesk.recording.models import CONTENT, TrailEntry, TrailQuerySet

BATCH = 1000
LOCK = 0x7472_6169_6C  # any number that nothing else locks
SEAL = (
    "UPDATE shopdesk_trailentry SET position = %s, previous_hash = %s, hash = %s"
    " WHERE id = %s AND position IS NULL"
)


def seal_after_commit(using: str = "default") -> None:
    """Seal once this transaction is committed; a failure is left to the next seal."""
    connection = connections[using]
    now = set(connection.savepoint_ids)
    for savepoints, function, _ in connection.run_on_commit:
        # Unless it belongs to a savepoint that may still be rolled back.
        if function is seal and savepoints <= now:
            return
    transaction.on_commit(seal, using=using, robust=True)


def seal() -> None:
    """Give each entry that is committed and unsealed its place in the chain."""
    while _seal_batch() == BATCH:
        pass


@transaction.atomic
def _seal_batch() -> int:
    connection = connections["default"]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # SQLite has one writer at a time anyhow.
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
        rows = list(TrailEntry.objects.unsealed().values_list(*CONTENT)[:BATCH])
        if not rows:
            return 0
        last = TrailEntry.objects.in_chain().values_list("position", "hash").last()
        position, previous = last or (0, "")
        places = []
        for row in rows:
            position += 1
            new = hash_of(position, previous, *row)
            places.append((position, previous, new, row[0]))
            previous = new
        cursor.executemany(SEAL, places)
    return len(rows)


@dataclass(frozen=True)
class Verdict:
    """What was found: `wrong` is a sentence about the first bad entry, or empty."""

    count: int
    unsealed: int
    wrong: str = ""
    hash: str = ""
    """Of the last entry that is right."""


def verify(*, noted: tuple[int, str] | None = None, using: str = "default") -> Verdict:
    """Compute the chain again, up to the first entry that is not as it was written.

    That entries are missing at the end shows only against the position and hash that
    were `noted` elsewhere at some time.
    """
    entries = TrailEntry.objects.using(using)
    unsealed = entries.unsealed().count()
    count, last = 0, ""
    for position, previous, written, details, salt, *content in _read(entries):
        wrong = ""
        if position != count + 1:
            wrong = f"entry {count + 1} of the chain is missing"
        elif previous != last:
            wrong = "it does not follow the entry before it"
        elif hash_of(position, previous, *content) != written:
            wrong = "it was changed"
        elif (details or salt) and details_hash(details, salt=salt) != content[-1]:
            wrong = "its values were changed"
        if wrong:
            where = f"Entry {position} of the trail (id {content[0]}): {wrong}."
            return Verdict(count, unsealed, where, last)
        count, last = position, written
        if noted and noted[0] == position and noted[1] == written:
            noted = None
    if noted:
        where = (
            f"Entry {noted[0]} of the trail is missing or another one than was noted."
        )
        return Verdict(count, unsealed, where, last)
    return Verdict(count, unsealed, "", last)


def _read(entries: TrailQuerySet) -> Iterator[tuple]:
    """Yield the chain in short reads: a long one would make SQLite's writers wait."""
    columns = ("position", "previous_hash", "hash", "details", "salt", *CONTENT)
    rows, batch = entries.in_chain().values_list(*columns), [(-(2**63),)]
    while batch:
        batch = list(rows.filter(position__gt=batch[-1][0])[:BATCH])
        yield from batch


def details_hash(details: str, *, salt: str) -> str:
    return hash_of(salt, details)
