"""Imports of a shop's own list that are not finished, and how such lists are read."""

import zlib
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.urls import reverse

from repairs.sheet_import.decisions import Decisions
from repairs.sheet_import.sheet_file import SheetTable, from_json, to_json

KEPT = timedelta(days=14)
STAFF = settings.AUTH_USER_MODEL


class SheetDraftQuerySet(models.QuerySet):
    def forget_old(self, *, at: datetime) -> int:
        """Delete those that nobody has worked on for two weeks; return how many."""
        return self.filter(changed_at__lt=at - KEPT).delete()[0]


class SheetDraft(models.Model):
    """A list that is being imported: the file, its cells, and what was decided."""

    file = models.CharField(max_length=200)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    content = models.BinaryField(editable=False)
    # Its cells as they were read last, compressed: reading a workbook takes long.
    cells = models.BinaryField(editable=False)
    decisions_json = models.TextField(editable=False)

    objects = SheetDraftQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]

    def __str__(self):
        return self.file

    def get_absolute_url(self):
        return reverse("sheet_import:columns", args=[self.pk])

    @property
    def deleted_at(self) -> datetime:
        return self.changed_at + KEPT

    @property
    def decisions(self) -> Decisions:
        return Decisions.from_json(self.decisions_json)

    @decisions.setter
    def decisions(self, decisions: Decisions) -> None:
        self.decisions_json = decisions.to_json()

    @property
    def table(self) -> SheetTable:
        return from_json(zlib.decompress(bytes(self.cells)).decode())

    @table.setter
    def table(self, table: SheetTable) -> None:
        self.cells = zlib.compress(to_json(table).encode())


class SheetLayout(models.Model):
    """What was decided about the lists with certain headers, for the next of them."""

    signature = models.CharField(max_length=64, unique=True)
    decisions_json = models.TextField()
    saved_at = models.DateTimeField()

    def __str__(self):
        return self.signature[:8]

    @property
    def decisions(self) -> Decisions:
        return Decisions.from_json(self.decisions_json)
