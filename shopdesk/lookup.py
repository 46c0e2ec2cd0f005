"""How typed text is compared with records, and which record fits best."""

import unicodedata
from collections.abc import Iterable

from django.db import connections, models, transaction
from django.db.models.expressions import RawSQL

EXACT, BEGINS, WITHIN = range(3)
"""How well a record fits a query."""


SEARCH_INDEXES = {
    "search_job": ("repairs_job", "number", True),
    "search_customer": ("repairs_customer", "search", False),
    "search_device": ("repairs_device", "serial_lookalike", False),
    "search_buyer": ("billing_invoice", "buyer_name", True),
    "search_invoice": ("billing_invoice", "number", False),
}
"""Name, table and column of each, and whether it is searched in any case.

`shopdesk/keeping/search_indexes.py` creates them.
"""
CHANGED = "search_changed"
"""The table of SQLite that has the rows that changed after the indexes were made."""
MIN_INDEXED = 3
"""Fewer characters are looked for in every row."""


def narrowed(found, index: str, *texts: str):
    """Return `found` without rows that have none of `texts`, as the search index says.

    PostgreSQL uses its indexes by itself; for SQLite the query names them. The caller
    filters by the text as well, since rows may have changed.
    """
    is_short = any(len(text) < MIN_INDEXED for text in texts)
    if is_short or connections[found.db].vendor != "sqlite":
        return found
    quoted = " OR ".join('"{}"'.format(text.replace('"', '""')) for text in texts)
    rows = RawSQL(
        f"SELECT rowid FROM {index} WHERE {index} MATCH %s"
        f" UNION ALL SELECT row_id FROM {CHANGED} WHERE search_index = %s",
        [quoted, index],
    )
    return found.filter(pk__in=rows)


def renew_search_indexes(using: str = "default") -> None:
    """Make those of SQLite anew from the texts of today, without any erased text."""
    if connections[using].vendor != "sqlite":
        return
    with transaction.atomic(using=using), connections[using].cursor() as cursor:
        for name in SEARCH_INDEXES:
            cursor.execute(f"INSERT INTO {name}({name}) VALUES ('rebuild')")
        cursor.execute(f"DELETE FROM {CHANGED}")


def in_batches(rows, *, size: int = 500):
    """Yield lists of the rows, the latest first; no query stays open meanwhile.

    In SQLite an open query may make writers wait.
    """
    left = rows.order_by("-pk")
    while batch := list(left[:size]):
        yield batch
        left = left.filter(pk__lt=batch[-1].pk)


def rank_matches(found, *, exact: models.Q, begins: models.Q, then: Iterable[str]):
    """Return `found` with `fit`, how well each fits the query, best match first."""
    fit = models.Case(
        models.When(exact, then=EXACT),
        models.When(begins, then=BEGINS),
        default=WITHIN,
        output_field=models.SmallIntegerField(),
    )
    return found.annotate(fit=fit).order_by("fit", *then)


class Searchable(models.Model):
    """A record with its text for searching, without case and accents.

    Neither database finds MÜLLER for "muller" by itself. Each model says by its method
    `search_text` what `search` must contain; bulk inserts set it themselves.
    """

    search = models.TextField(editable=False, default="")

    class Meta:
        abstract = True

    def save(self, *args, update_fields=None, **kwargs):
        self.search = self.search_text()
        if update_fields is not None:
            update_fields = {*update_fields, "search"}
        super().save(*args, update_fields=update_fields, **kwargs)


def normalize_search(text: str) -> str:
    """Return `text` as it is searched for: no case, no accents, single spaces."""
    bare = unicodedata.normalize("NFKD", text)
    bare = "".join(c for c in bare if not unicodedata.combining(c))
    return " ".join(bare.casefold().replace("\x00", "").split())
