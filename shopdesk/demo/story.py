"""Staff, clock and seeded random numbers of the demo shop's last weeks."""

import heapq
import random
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from itertools import count
from uuid import UUID

from django.utils import timezone

from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.staff.models import User
from shopdesk.stamp import Stamp

Act = Callable[..., None]
STEPS: dict[str, Act] = {}
"""A step that jobs.csv can name: a function of the story, the job, and days ago.

Days ago is when the job came in; a fourth argument is the text after a colon.
"""


def step(act: Act) -> Act:
    STEPS[act.__name__] = act
    return act


class Story:
    """The last weeks of the demo shop: staff, moments and random choices.

    The same seed makes the same story; days count back from `today`.
    """

    link = ""
    """The address at which one customer reads their quote."""

    def __init__(
        self, staff: tuple[User, ...], *, today: date, seed: int, site: str
    ) -> None:
        self.owner, self.bench, self.counter = staff
        self.today = today
        self.site = site
        self.pick = random.Random(seed + 2)
        self.now = self.moment = timezone.now()
        self._turn = count()
        self._till_acts: list[tuple[int, int, int, Callable[[], None]]] = []
        # Asked in two steps: as one, a database without statistics may go through all
        # devices for each customer.
        in_shop = set(Job.objects.open().values_list("device__owner", flat=True))
        self._customers = list(Customer.objects.exclude(pk__in=in_shop).order_by("id"))
        self.pick.shuffle(self._customers)

    def stamp(self, days: int, hour: int, by: User | None) -> Stamp:
        """Return a moment of that hour so many days ago, never one in the future."""
        local = datetime.combine(self.day(days), time(hour, self.pick.randrange(60)))
        self.moment = min(timezone.make_aware(local), self.now - timedelta(minutes=2))
        return Stamp(at=self.moment, by=by)

    def day(self, days: int) -> date:
        return self.today - timedelta(days=days)

    def key(self) -> UUID:
        """Return a form key, by which a form sent twice counts once."""
        return UUID(int=self.pick.getrandbits(128), version=4)

    def next_customer(self) -> Customer:
        """Return one with an email address, so that documents can be emailed to all."""
        index = max(n for n, c in enumerate(self._customers) if c.email)
        return self._customers.pop(index)

    def at_till(self, days: int, hour: int, by: User, act: Act, *args: object) -> None:
        """Do this when the till reaches that day, as its numbers follow the days.

        `act` is called with the story and the stamp of that hour, then with `args`.
        """

        def run() -> None:
            act(self, self.stamp(days, hour, by), *args)

        heapq.heappush(self._till_acts, (-days, hour, next(self._turn), run))

    def run_till(self) -> None:
        """Run the till's tasks day by day; a task may add later ones."""
        while self._till_acts:
            *_, act = heapq.heappop(self._till_acts)
            act()
