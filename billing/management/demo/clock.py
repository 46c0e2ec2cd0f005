"""The clock of a story, set back while a job is told."""

import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from itertools import count
from unittest import mock
from uuid import UUID

from django.utils import timezone

from shopdesk.staff.models import User


class Clock:
    """Who tells, on which day, and a seeded source that chooses the rest."""

    def __init__(
        self, *, today: date, seed: int, owner: User, bench: User, counter: User
    ) -> None:
        self.pick = random.Random(seed + 2)
        self.today = today
        self.owner, self.bench, self.counter = owner, bench, counter
        self.now = timezone.now()
        self._turn = count()
        self._put_off: list[tuple[int, int, int, Callable[[], object]]] = []

    @contextmanager
    def _at(
        self, days: int, hour: int = 10, minute: int | None = None
    ) -> Iterator[None]:
        """The moment so many days ago, never one that is still to come."""
        day = self.today - timedelta(days=days)
        minute = self.pick.randrange(60)
        moment = timezone.make_aware(datetime.combine(day, time(hour, minute)))
        moment = min(moment, self.now - timedelta(minutes=2))
        with mock.patch.object(timezone, "now", lambda: moment):
            yield

    def _day(self, days: int) -> date:
        return self.today - timedelta(days=days)

    def _key(self) -> UUID:
        """What a form carries so that pressing it twice is one press."""
        return UUID(int=self.pick.getrandbits(128), version=4)

    def _at_till(self, days: int, hour: int, act: Callable[[], object]) -> None:
        """Tell this when the till gets to that day: its numbers follow the days."""
        self._put_off.append((-days, hour, next(self._turn), act))

    def _till_days(self) -> Iterator[Callable[[], object]]:
        """What was put off, in the order of its days; it may put off more."""
        while self._put_off:
            self._put_off.sort()
            yield self._put_off.pop(0)[-1]
