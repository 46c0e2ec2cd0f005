"""The trail: who did what to which record, and when. Rows are only added."""

import json
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy


class Action(models.TextChoices):
    """What happened: a change of a record, or an event."""

    CREATED = "created", gettext_lazy("created")
    CHANGED = "changed", gettext_lazy("changed")
    DELETED = "deleted", gettext_lazy("deleted")
    ERASED = "erased", gettext_lazy("personal data erased")
    MERGED = "merged", gettext_lazy("another record merged into this one")
    CODE_SHOWN = "code_shown", gettext_lazy("access code shown")
    DOWNLOADED = "downloaded", gettext_lazy("data downloaded")
    IMPORTED = "imported", gettext_lazy("data imported")
    BACKED_UP = "backed_up", gettext_lazy("backup made")
    RESTORED = "restored", gettext_lazy("backup restored")
    SIGNED_IN = "signed_in", gettext_lazy("signed in")
    SIGNED_OUT = "signed_out", gettext_lazy("signed out")
    SIGN_IN_FAILED = "sign_in_failed", gettext_lazy("sign-in failed")
    PASSPHRASE_ISSUED = "passphrase_issued", gettext_lazy("passphrase issued")
    WRONG_SECRET = "wrong_secret", gettext_lazy("wrong password or code")
    SECOND_FACTOR_ADDED = "factor_added", gettext_lazy("second factor set up")
    SECOND_FACTOR_REMOVED = "factor_removed", gettext_lazy("second factor removed")
    CODES_REPLACED = "codes_replaced", gettext_lazy("recovery codes replaced")
    RECOVERY_CODE_USED = "recovery_code_used", gettext_lazy("recovery code used")
    KEY_CHANGED = "key_changed", gettext_lazy("key of access codes changed")
    SESSIONS_ENDED = "sessions_ended", gettext_lazy("sessions ended")
    API_USED = "api_used", gettext_lazy("API token used")


CHANGES = frozenset({Action.CREATED, Action.CHANGED, Action.DELETED})

CONTENT = (
    *("id", "at", "by_id", "by_name", "source", "action"),
    *("kind", "record", "parent_kind", "parent", "details_hash"),
)
"""What the hash of an entry covers, besides its position and the hash before."""


class TrailQuerySet(models.QuerySet):
    def unsealed(self):
        """Entries that have no position in the chain yet, in the order to be sealed."""
        return self.filter(position=None).order_by("id")

    def in_chain(self):
        """Entries in the order of the chain."""
        return self.exclude(position=None).order_by("position")

    def about(self, kind: str, record: int):
        """Entries about a record or about what belongs to it, the latest first."""
        own = Q(kind=kind, record=record)
        return self.filter(own | Q(parent_kind=kind, parent=record)).order_by("-id")


class TrailEntry(models.Model):
    """One change of one record, or one event.

    `details` of a change are `{field: [old, new]}`, or `{field: null}` where the value
    is secret; of an event, its facts. The hash of an entry covers `details_hash` only,
    so `details` and `salt` can be erased and the chain still holds. An entry is written
    in the transaction that it reports, and gets its position in the chain after it.
    """

    at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
    )
    by_name = models.CharField(max_length=80, blank=True)
    source = models.CharField(max_length=60)
    action = models.CharField(max_length=20, choices=Action)
    # Of the record: the label of its model, and its id. Never its name.
    kind = models.CharField(max_length=60, blank=True)
    record = models.BigIntegerField(null=True)
    parent_kind = models.CharField(max_length=60, blank=True)
    parent = models.BigIntegerField(null=True)
    # JSON as text: Django's field for it needs a function that SQLite does not trust.
    details = models.TextField(blank=True)
    salt = models.CharField(max_length=32, blank=True)
    details_hash = models.CharField(max_length=64)
    position = models.BigIntegerField(null=True, unique=True)
    previous_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64, blank=True)

    objects = TrailQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = gettext_lazy("trail entries")
        indexes = [
            models.Index(fields=["kind", "record", "id"], name="trail_of_record"),
            models.Index(
                fields=["parent_kind", "parent", "id"],
                name="trail_of_parent",
                condition=Q(parent__isnull=False),
            ),
            models.Index(fields=["by", "id"], name="trail_of_person"),
            models.Index(fields=["action", "id"], name="trail_of_action"),
            models.Index(
                fields=["id"], name="trail_unsealed", condition=Q(position=None)
            ),
        ]

    def __str__(self):
        return f"{self.at:%Y-%m-%d %H:%M} {self.get_action_display()}"

    @property
    def values(self) -> dict[str, Any] | None:
        """Return `details` as they were written; None if they were erased."""
        return json.loads(self.details) if self.details else None
