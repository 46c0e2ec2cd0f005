"""The counter of the demo shop books devices in."""

from decimal import Decimal

from billing.management.demo.clock import Clock
from repairs.customers.models import Customer, Device, DeviceModel
from repairs.history.demo import names
from repairs.history.demo.book import FAULTS
from repairs.intake import actions as intake
from repairs.jobs.models import Job, Repair


class Counter(Clock):
    """Devices come in, with what their faults look like from outside."""

    def __init__(self, **who) -> None:
        super().__init__(**who)
        # Asked in two steps: as one, a database that has not counted its rows yet may
        # go through all devices for each customer.
        here = set(Job.objects.open().values_list("device__owner", flat=True))
        self.customers = list(Customer.objects.exclude(pk__in=here).order_by("id"))
        self.pick.shuffle(self.customers)

    def _customer(self) -> Customer:
        """The next who has a mail address: papers can be sent to all of them."""
        n = next(n for n, one in enumerate(reversed(self.customers), 1) if one.email)
        return self.customers.pop(-n)

    def _any(self) -> str:
        return self.pick.choice([code for code in sorted(FAULTS) if code[:3] != "LIQ"])

    def _new(self, code: str, *, days: int, is_expected: bool = False) -> Job:
        """A device booked in with what this fault looks like from outside."""
        facts = FAULTS[code]
        kind = self.pick.choice(facts.kinds)
        maker, model = self.pick.choice(names.MODELS[kind])
        serial = f"{maker[:2].upper()}Q{self.pick.randrange(10**7):07d}"
        by_post = is_expected or self.pick.random() < 0.2
        tries = self.pick.choice((3, 5, 10))
        return self._book_in(
            Device(
                model=DeviceModel.objects.get_or_create(
                    kind=kind, maker=maker, model=model
                )[0],
                serial=serial,
            ),
            self._customer(),
            days=days,
            is_expected=is_expected,
            complaint=self.pick.choice(facts.complaints),
            shows_when=self.pick.choice(("always", "when warm", "when moved", "")),
            came_by=Job.CameBy.POST if by_post else Job.CameBy.COUNTER,
            came_with=self.pick.choice(names.CAME_WITH[kind]),
            condition="" if is_expected else self.pick.choice(names.CONDITION),
            consent=Job.Consent.NO,
            counter_tries=None if by_post else tries,
            counter_failed=None if by_post else self.pick.randint(1, tries),
            has_liquid=facts.area == "liquid",
            has_swollen_battery=facts.mode == "swollen",
            has_mains=kind in ("amplifier", "instrument"),
            fee_agreed=Decimal(25),
        )

    def _book_in(
        self,
        device: Device,
        customer: Customer,
        *,
        days: int,
        is_expected: bool = False,
        against: Repair | None = None,
        **facts,
    ) -> Job:
        with self._at(days, 9):
            job, _ = intake.book_in(
                self._key(),
                customer=customer,
                device=device,
                job=Job(**facts),
                is_expected=is_expected,
                against=against,
                on=self._day(days),
                by=self.counter,
            )
        return job

    def expected(self, code: str, *, days: int) -> Job:
        return self._new(code, days=days, is_expected=True)

    def booked_in(self, code: str, *, days: int) -> Job:
        return self._new(code, days=days)
