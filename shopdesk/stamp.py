"""Who does something, and when: one value that every action is given."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone


@dataclass(frozen=True)
class Stamp:
    """The moment of an action and the person who does it.

    Only views and commands read the clock; everything below is told by this.
    """

    at: datetime  # aware
    by: Any = None  # a User; None where the customer or a command acts

    @property
    def on(self) -> date:
        """The local date of the moment."""
        return timezone.localdate(self.at)

    @classmethod
    def now(cls, by: Any = None) -> "Stamp":
        return cls(at=timezone.now(), by=by)

    @classmethod
    def of(cls, request) -> "Stamp":
        """The stamp of what the signed-in person asks for in `request`."""
        user = request.user
        return cls.now(user if user.is_authenticated else None)
