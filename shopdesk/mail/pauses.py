"""How long to wait before a letter is tried again."""

from datetime import timedelta

MINUTES = (1, 5, 15, 60, 240, 720, 1440)
"""After the first, second … failure. After the last one nobody tries any more."""

LEASE = timedelta(minutes=10)
"""A sender that takes longer than this is taken for dead, and another may try."""


def pause(tries: int) -> timedelta | None:
    """The wait after `tries` failures; None when it is time to give up."""
    return timedelta(minutes=MINUTES[tries - 1]) if tries <= len(MINUTES) else None
