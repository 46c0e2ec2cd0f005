"""The tokens by which the shop's own scripts read from the API."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.staff.link_tokens import hash_of
from shopdesk.staff.models import Role

STAFF = settings.AUTH_USER_MODEL


class ApiTokenQuerySet(RecordedQuerySet):
    def for_list(self):
        """With all that one row of a list shows."""
        return self.select_related("created_by", "revoked_by")

    def valid(self, at: datetime):
        """Return the tokens that open something at that moment.

        The person who created one must still be an owner who may sign in.
        """
        owned = self.filter(created_by__role=Role.OWNER, created_by__is_active=True)
        return owned.filter(revoked_at=None, works_until__gt=at)

    def opened_by(self, token: str, *, at: datetime):
        """Return the valid token of this text; none if unknown, expired or revoked."""
        return self.valid(at).filter(token_hash=hash_of(token))


class ApiToken(Recorded):
    """What one token may read, and for how long. The token itself is not stored."""

    name = models.CharField(max_length=60, unique=True)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    shows_costs = models.BooleanField(gettext_lazy("costs and margins"), default=False)
    shows_personal_data = models.BooleanField(
        gettext_lazy("personal data"), default=False
    )
    works_until = models.DateTimeField(gettext_lazy("valid until"))
    created_at = models.DateTimeField(editable=False)
    created_by = models.ForeignKey(
        STAFF, on_delete=models.PROTECT, related_name="+", editable=False
    )
    revoked_at = models.DateTimeField(
        gettext_lazy("revoked"), null=True, editable=False
    )
    revoked_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    last_used_at = models.DateTimeField(
        gettext_lazy("last used"), null=True, editable=False
    )

    # Each day of use is an event of its own.
    unrecorded = frozenset({"created_at", "created_by", "last_used_at"})
    secret = frozenset({"token_hash"})

    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        verbose_name = gettext_lazy("API token")
        constraints = [
            models.CheckConstraint(
                condition=~Q(name="") & ~Q(token_hash=""), name="api_token_has_name"
            ),
        ]

    def __str__(self):
        return self.name

    def status(self, at: datetime) -> str:
        if self.revoked_at is not None:
            return "revoked"
        if self.works_until <= at:
            return "expired"
        owner = self.created_by
        return "valid" if owner.is_active and owner.role == Role.OWNER else "blocked"

    @property
    def scope_text(self) -> str:
        """What it shows beyond what every token shows."""
        shown = [
            ("costs", self.shows_costs),
            ("personal data", self.shows_personal_data),
        ]
        return ", ".join(name for name, is_shown in shown if is_shown) or "–"
