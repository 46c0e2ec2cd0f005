"""How typed text is compared with records, and which record fits best."""

import unicodedata
from collections.abc import Iterable

from django.db import models

EXACT, BEGINS, WITHIN = range(3)
"""How well a record fits a query."""


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
