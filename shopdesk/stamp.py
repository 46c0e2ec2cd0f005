"""Who acts, and when: one value that every action takes."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone


@dataclass(frozen=True)
class Stamp:
    """The moment of an action and the user who acts.

    Only views and commands read the clock; everything else gets a stamp.
    """

    at: datetime  # aware
    by: Any = None  # a User; None for a customer or a command

    @property
    def on(self) -> date:
        """Return the local date of the moment."""
        return timezone.localdate(self.at)

    @classmethod
    def now(cls, by: Any = None) -> "Stamp":
        return cls(at=timezone.now(), by=by)

    @classmethod
    def of(cls, request) -> "Stamp":
        """Return the stamp of an action that the signed-in user requests."""
        user = request.user
        return cls.now(user if user.is_authenticated else None)
