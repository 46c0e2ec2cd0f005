"""Does the server's clock jump?

Documents are numbered in the order of their dates, so a wrong clock does damage that
cannot be undone. The moment when the shop was last used is noted; when the clock is
more than a day before it, or jumps ahead, everybody is warned until the clock is right
or the owner says that it is.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from time import monotonic

from shopdesk.shop.models import Shop

JUMP = timedelta(days=1)
BREAK = timedelta(days=60)  # the longest time that a shop may be closed unasked
EVERY = 300.0  # seconds between two looks


@dataclass
class Look:
    """When this process last looked: the clock, and a counter that cannot jump."""

    clock: datetime | None = None
    counter: float = 0.0
    mark: datetime | None = None
    """When the shop was last used, as far as this process knows."""

    def is_due(self, now: datetime) -> bool:
        """Whether some time has passed, or the clock has moved without it."""
        return (
            self.clock is None
            or monotonic() - self.counter > EVERY
            or abs(self._jump(now)) > JUMP
        )

    def has_jumped_ahead(self, now: datetime) -> bool:
        """Whether the clock went ahead by more than the time that has passed."""
        return self.clock is not None and self._jump(now) > JUMP

    def is_still_ahead(self, now: datetime, *, of: datetime) -> bool:
        """Whether the clock was right or ahead, is ahead, and was not put back."""
        return (
            self.clock is not None
            and now > of + JUMP
            and self.clock >= of - JUMP
            and self._jump(now) >= -JUMP
        )

    def latest(self, now: datetime) -> datetime:
        """Return `now`, or a later moment at which the shop was in use already.

        What has expired by then stays so when the clock is set back.
        """
        return max(now, self.mark or now)

    def _jump(self, now: datetime) -> timedelta:
        assert self.clock is not None
        return now - self.clock - timedelta(seconds=monotonic() - self.counter)


def watch(shop: Shop, look: Look, *, now: datetime) -> None:
    """Note that the shop is in use, or that its clock is in doubt."""
    if not look.is_due(now):
        return
    jumped_ahead = look.has_jumped_ahead(now)
    believed = shop.clock_doubted_since or shop.clock_seen_at or now
    is_still_ahead = look.is_still_ahead(now, of=believed)
    look.clock, look.counter = now, monotonic()
    is_right = believed - JUMP <= now <= believed + BREAK
    if shop.clock_doubted_since is None and (jumped_ahead or not is_right):
        _store(shop, clock_doubted_since=believed)
    elif shop.clock_doubted_since is None:
        _store(shop, clock_seen_at=max(now, believed))
    elif is_right and not is_still_ahead:
        confirm(shop, now=now)
    look.mark = shop.clock_seen_at


def confirm(shop: Shop, *, now: datetime) -> None:
    """Believe the clock, as the owner says that it is right."""
    _store(shop, clock_seen_at=now, clock_doubted_since=None)


def _store(shop: Shop, **values: datetime | None) -> None:
    for name, value in values.items():
        setattr(shop, name, value)
    Shop.objects.filter(pk=shop.pk).update(**values)
