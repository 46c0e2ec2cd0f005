"""Indexes for texts that are searched from within; each database has its own kind.

PostgreSQL has trigram indexes by an extension, pg_trgm, which a database's owner may
create; without it, search is slower. SQLite has virtual tables (FTS5), which are made
anew each night. As `trusted_schema` is off, no trigger may write to them: triggers note
which rows have changed since, and a search looks at these as well. Like the guards, all
are created after the migrations.
"""

from django.db import Error, connections, transaction

from shopdesk.lookup import CHANGED, SEARCH_INDEXES, renew_search_indexes

TRIGRAMS = {
    f"{name}_text": (table, f"{'upper' if any_case else ''}({column}::text)")
    for name, (table, column, any_case) in SEARCH_INDEXES.items()
} | {"search_customer_phone": ("repairs_customer", "(phone::text)")}


def create_search_indexes(using: str) -> None:
    """Create those that are missing; in SQLite, make all of them anew."""
    if connections[using].vendor == "sqlite":
        with transaction.atomic(using=using):
            _create_tables(using)
    elif _has_trigrams(using):
        with connections[using].cursor() as cursor:
            for name, (table, text) in TRIGRAMS.items():
                cursor.execute(
                    f"CREATE INDEX IF NOT EXISTS {name} ON {table}"
                    f" USING gin ({text} gin_trgm_ops)"
                )
            # What the planner knows of the indexed texts.
            for table in sorted({table for table, _ in TRIGRAMS.values()}):
                cursor.execute(f"ANALYZE {table}")


def _has_trigrams(using: str) -> bool:
    """Whether the extension is there, or can be created."""
    try:
        with transaction.atomic(using=using), connections[using].cursor() as cursor:
            cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
    except Error:
        return False
    return True


def _create_tables(using: str) -> None:
    with connections[using].cursor() as cursor:
        cursor.execute(
            f"CREATE TABLE IF NOT EXISTS {CHANGED} (search_index text, row_id integer,"
            " PRIMARY KEY (search_index, row_id)) WITHOUT ROWID"
        )
        for name, (table, column, _) in SEARCH_INDEXES.items():
            cursor.execute(
                f"CREATE VIRTUAL TABLE IF NOT EXISTS {name} USING fts5({column},"
                f" content='{table}', content_rowid='id', tokenize='trigram',"
                " columnsize=0)"
            )
            for event in ("INSERT", f"UPDATE OF {column}"):
                trigger = f"{name}_{event.partition(' ')[0].lower()}"
                cursor.execute(f"DROP TRIGGER IF EXISTS {trigger}")
                cursor.execute(
                    f"CREATE TRIGGER {trigger} AFTER {event} ON {table} BEGIN INSERT"
                    f" OR IGNORE INTO {CHANGED} VALUES ('{name}', NEW.id); END"
                )
    renew_search_indexes(using)
