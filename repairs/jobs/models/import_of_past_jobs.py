"""An import of past jobs that can be undone."""

import json

from django.conf import settings
from django.db import models

from shopdesk.recording.recorded import Recorded

STAFF = settings.AUTH_USER_MODEL


class PastImport(Recorded):
    """One import of a spreadsheet; its jobs name it.

    `made_json` has the keys of all records it created, by table, as pairs of first and
    last: `{"repairs.job": [[1, 400]]}`. Once `undone_at` is set, the database lets its
    records be deleted.
    """

    file = models.CharField(max_length=200)
    imported_at = models.DateTimeField()
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    rows = models.PositiveIntegerField()
    made_json = models.TextField(editable=False)
    undone_at = models.DateTimeField(null=True, editable=False)

    unrecorded = frozenset({"made_json"})

    class Meta:
        ordering = ["-id"]
        verbose_name = "import"

    def __str__(self):
        return self.file

    @property
    def made(self) -> dict[str, list[list[int]]]:
        return json.loads(self.made_json)

    @property
    def counts(self) -> dict[str, int]:
        """How many records of each table it created."""
        return {
            label: sum(last - first + 1 for first, last in runs)
            for label, runs in self.made.items()
        }
