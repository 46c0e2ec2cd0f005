"""The demo shop today: jobs in every state, each brought there by the shop's own verbs.

The clock is set back while a job is told, so that its steps bear the days on which they
would have been made.
"""

import random
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from unittest import mock
from uuid import UUID

from django.db.models import Count
from django.utils import timezone

from billing.handback.actions import hand_back
from billing.invoices.actions import pay
from billing.quotes import actions as quotes
from billing.quotes.models import Quote
from repairs.bench import actions as bench
from repairs.customers.models import Customer, Device, DeviceModel
from repairs.faults.models import Fault, Fix, Symptom
from repairs.history.demo import names
from repairs.history.demo.book import FAULTS
from repairs.intake import actions as intake
from repairs.jobs import cover, states
from repairs.jobs.actions import decide_return, use_part
from repairs.jobs.models import Job, Repair
from shopdesk.staff.models import User

PLAN = (
    (75, "uncollected", "MEC-KEYS-UNEVEN"),
    (48, "uncollected", "AUD-JACK-WORN"),
    (44, "quoted", "PWR-JACK-LOOSE"),  # it has run out
    (9, "quoted", "MEC-HINGE-TORN"),
    (9, "ready_declined", "DSP-BALLS-CRACK"),
    (8, "ready", "AUD-POT-CRACKLE"),
    (8, "not_repairable", "LIQ-BOARD-WET"),
    (7, "failed_proof", "DSP-CABLE-LOOSE"),
    (6, "declined", "DSP-PANEL-CRACK"),
    (6, "repaired", "CHG-IC-DEAD"),
    (6, "proven", "DAT-BOOT-LOST"),
    (6, "ready", "MEC-STICK-DRIFT"),
    (5, "quoted", "DAT-CHOKE-OPEN"),
    (5, "repaired", "AUD-RELAY-PIT"),
    (5, "proven", "PWR-PORT-WORN"),
    (5, "ready", "CHG-BAT-SWOLLEN"),
    (4, "needs_parts", "INS-REF-DRIFT"),
    (4, "awaits_parts", "DSP-GLASS-CRACK"),
    (4, "nothing_found", "MEC-HOT"),
    (3, "approved", "MEC-FAN-NOISE"),
    (3, "with_timer", "PWR-SUPPLY-CAPS"),
    (3, "booked_in", "AUD-HUM"),
    (2, "diagnosed", "CHG-BAT-WORN"),
    (2, "quoted", "AUD-POT-CRACKLE"),
    (2, "booked_in", "PWR-JACK-LOOSE"),
    (1, "diagnosed", "PWR-FET-SHORT"),
    (1, "booked_in", "MEC-STICK-DRIFT"),
    (1, "expected", "DSP-CABLE-LOOSE"),
    (1, "expected", "AUD-RELAY-PIT"),
    (1, "expected", "CHG-IC-DEAD"),
    (0, "booked_in", "LIQ-BOARD-WET"),
)
"""How many days ago, how far it got, and with which fault."""


class Today:
    """Tells jobs one after the other; what they are is chosen by a seeded source."""

    def __init__(
        self, *, today: date, seed: int, owner: User, bench: User, counter: User
    ) -> None:
        self.pick = random.Random(seed + 2)
        self.today = today
        self.owner, self.bench, self.counter = owner, bench, counter
        # Asked in two steps: as one, a database that has not counted its rows yet may
        # go through all devices for each customer.
        here = set(Job.objects.open().values_list("device__owner", flat=True))
        self.customers = list(Customer.objects.exclude(pk__in=here).order_by("id"))
        self.pick.shuffle(self.customers)
        self.faults = {fault.code: fault for fault in Fault.objects.all()}
        self.now = timezone.now()

    def fill(self) -> None:
        """Tell the plan in the order the devices came in: numbers follow days."""
        paid = ("card", "cash", "transfer", "card")
        ends = [(8 + n, n, self._any(), means, "1") for n, means in enumerate(paid, 1)]
        ends += [
            (30, 12, "INS-INPUT-BURNT", "", "0"),
            (21, 9, "LIQ-BOARD-WET", "card", "0.25"),
            (16, 5, "AUD-OUTPUT-SHORT", "cash", "0.5"),
            (12, 3, "DAT-HUB-DEAD", "", "0"),
        ]
        told = [(days, 0, verb, code, {}) for days, verb, code in PLAN]
        told += [
            (days, back, "handed_back", code, {"back": back, "means": m, "share": s})
            for days, back, code, m, s in ends
        ]
        for days, _, verb, code, how in sorted(
            told, key=lambda one: (-one[0], -one[1])
        ):
            getattr(self, verb)(code, days=days, **how)
        for what in (states.UNDECIDED, states.UNDECIDED):
            self.came_back(what)
        self.came_back(states.HANDLING_DAMAGE)
        self.came_back(states.SAME_FAULT)
        self.came_back(states.SAME_FAULT, is_mended=True)

    # --- the clock ------------------------------------------------------------------

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

    def _any(self) -> str:
        return self.pick.choice([code for code in sorted(FAULTS) if code[:3] != "LIQ"])

    # --- the counter ----------------------------------------------------------------

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
            self.customers.pop(),
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
                UUID(int=self.pick.getrandbits(128), version=4),
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

    # --- the bench ------------------------------------------------------------------

    def _found(self, job: Job, code: str, *, days: int) -> Job:
        """The fault is seen, measured and named."""
        with self._at(days, 13):
            tries = self.pick.choice((3, 5, 5))
            bench.save_findings(
                job,
                failed=tries - self.pick.choice((0, 0, 1)),
                tries=tries,
                symptoms=Symptom.objects.filter(name=FAULTS[code].symptom),
                notes="Seen as the customer tells it.",
                version=None,
                by=self.bench,
            )
            bench.take_reading(
                job,
                at=timezone.now(),
                by=self.bench,
                what="current drawn without a battery",
                value=Decimal(self.pick.randrange(2, 90)) / 100,
                unit="A",
                low=Decimal("0.02"),
                high=Decimal("0.60"),
            )
            repair = bench.name_fault(job, fault=self.faults[code], by=self.bench)
            bench.book_minutes(
                job,
                repair=repair,
                minutes=self.pick.randrange(10, 25),
                is_billable=True,
                note="finding",
                by=self.bench,
            )
            job.diagnose(by=self.bench)
        return job

    def diagnosed(self, code: str, *, days: int) -> Job:
        return self._found(self._new(code, days=days), code, days=days - 1)

    def needs_parts(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        self._wait(job, "parts")
        return job

    def _wait(self, job: Job, waiting_on: str) -> None:
        bench.save_head(
            job,
            waiting_on=waiting_on,
            promised_on=self._day(-self.pick.randrange(1, 6)),
            version=None,
            by=self.bench,
        )

    def quoted(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        self._send(job, days=days - 1)
        self._wait(job, "customer")
        return job

    def _send(self, job: Job, *, days: int) -> Quote:
        with self._at(days, 16):
            quote = quotes.draft(job, on=self._day(days), by=self.bench)
            quote = quotes.send(
                quote, on=self._day(days), at=timezone.now(), by=self.counter
            )
        job.refresh_from_db()
        return quote

    def awaits_parts(self, code: str, *, days: int) -> Job:
        job = self.approved(code, days=days)
        self._wait(job, "parts")
        return job

    def approved(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        with self._at(days - 2, 9):
            option = self.pick.choice([*quote.options.all()])
            quotes.accept(
                quote,
                option=option,
                version=quote.version,
                who=job.customer.name,
                how=Quote.How.PHONE,
                on=self._day(days - 2),
                at=timezone.now(),
                by=self.counter,
            )
        job.refresh_from_db()
        self._wait(job, "")
        return job

    def with_timer(self, code: str, *, days: int) -> Job:
        job = self.approved(code, days=days)
        at = self.now - timedelta(minutes=24)
        repair = job.repairs.get()
        bench.start_timer(job, repair=repair, at=at, by=self.bench)
        return job

    def declined(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        with self._at(days - 3, 11):
            quotes.decline(
                quote,
                version=quote.version,
                why="A new one costs little more.",
                who=job.customer.name,
                how=Quote.How.PHONE,
                at=timezone.now(),
                by=self.counter,
            )
        job.refresh_from_db()
        return job

    def repaired(self, code: str, *, days: int) -> Job:
        return self._mend(self.approved(code, days=days), days=days - 3)

    def _mend(self, job: Job, *, days: int) -> Job:
        """The fix is in, with its parts and minutes."""
        with self._at(days, 14):
            for repair in job.repairs.select_related("fix"):
                for usual in repair.fix.usual_parts.select_related("part"):
                    use_part(
                        repair,
                        part=usual.part,
                        quantity=usual.quantity,
                        by=self.bench,
                    )
                bench.book_minutes(
                    job,
                    repair=repair,
                    minutes=repair.fix.minutes + self.pick.randrange(-5, 12),
                    is_billable=True,
                    note="",
                    by=self.bench,
                )
            job.repair_done(by=self.bench)
        return job

    def failed_proof(self, code: str, *, days: int) -> Job:
        """Back at the bench: the fault showed again in the proof run."""
        job = self.repaired(code, days=days)
        with self._at(days - 4, 11):
            bench.run_proof(
                job.repairs.get(),
                tries=6,
                failed=1,
                note="showed again when warm",
                at=timezone.now(),
                by=self.bench,
            )
        job.refresh_from_db()
        return job

    def proven(self, code: str, *, days: int) -> Job:
        return self._prove(self.repaired(code, days=days), days=days - 3)

    def _prove(self, job: Job, *, days: int) -> Job:
        with self._at(days, 17):
            for repair in job.repairs.going_on():
                bench.run_proof(
                    repair,
                    tries=repair.tries_needed,
                    failed=0,
                    note="",
                    at=timezone.now(),
                    by=self.bench,
                )
        job.refresh_from_db()
        return job

    def ready(self, code: str, *, days: int) -> Job:
        return self._close(self.proven(code, days=days), days=days - 4)

    def _close(self, job: Job, *, days: int) -> Job:
        with self._at(days, 10):
            bench.close_fixed(
                job,
                repairs={
                    repair: {
                        "outcome": states.FIXED,
                        "declared": repair.declared or repair.fix.declared,
                        "no_part_needed": not repair.fix.needs_parts,
                    }
                    for repair in job.repairs.select_related("fix")
                },
                why="",
                version=None,
                by=self.bench,
            )
        job.refresh_from_db()
        return job

    def uncollected(self, code: str, *, days: int) -> Job:
        job = self.ready(code, days=days)
        job.uncollected_since = self._day(days - 4 - 30)
        job.save(update_fields=["uncollected_since"])
        return job

    def nothing_found(self, code: str, *, days: int) -> Job:
        job = self._new(code, days=days)
        with self._at(days - 1, 15):
            job.close(
                outcome=states.NO_FAULT_FOUND,
                by=self.bench,
                why="Ran for four hours under load and never went off.",
            )
        return job

    def not_repairable(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        with self._at(days - 2, 15):
            job.close(
                outcome=states.NOT_REPAIRABLE,
                by=self.bench,
                why="Corroded through under three chips.",
            )
        return job

    def ready_declined(self, code: str, *, days: int) -> Job:
        job = self.declined(code, days=days)
        with self._at(days - 4, 9):
            job.close(outcome=states.DECLINED_BY_CUSTOMER, by=self.counter)
        return job

    # --- the till and what comes back -----------------------------------------------

    def handed_back(
        self, code: str, *, days: int, back: int, means: str = "", share: str = "1"
    ) -> Job:
        """Collected `back` days ago; `share` of the bill is paid since."""
        job = self.ready(code, days=days)
        with self._at(back, 16):
            invoice = hand_back(
                job,
                version=None,
                on=self._day(back),
                at=timezone.now(),
                by=self.counter,
            )
            amount = (invoice.gross * Decimal(share)).quantize(Decimal("0.01"))
            if amount:
                pay(
                    invoice,
                    amount=amount,
                    means=means,
                    key=UUID(int=self.pick.getrandbits(128), version=4),
                    on=self._day(back),
                    at=timezone.now(),
                    by=self.counter,
                )
        job.refresh_from_db()
        return job

    def came_back(self, what: str, *, is_mended: bool = False) -> Job:
        """A device mended some weeks ago is at the counter again."""
        days = self.pick.randrange(2, 5)
        earlier = self._earlier(before=self._day(days))
        device = earlier.job.device
        job = self._book_in(
            device,
            device.owner,
            days=days,
            against=earlier,
            complaint="It is the same again, I think.",
            shows_when="when moved",
            came_with="nothing",
            condition="good",
            consent=Job.Consent.NO,
            has_mains=device.model.kind in ("amplifier", "instrument"),
        )
        code = earlier.fault.code
        if what == states.UNDECIDED:
            return job
        with self._at(days - 1, 11):
            decide_return(
                job,
                earlier=earlier,
                what=what,
                is_covered=what == states.SAME_FAULT
                and cover.is_covered(self._day(days), until=earlier.covered_until),
                why="Socket is bent." if what == states.HANDLING_DAMAGE else "",
                on=self._day(days - 1),
                by=self.bench,
            )
        if what != states.SAME_FAULT:
            return job
        job = self._found(job, code, days=days - 1)
        with self._at(days - 1, 15):
            job.approve_under_cover(by=self.bench)
        if is_mended:
            fix = Fix.objects.filter(faults=earlier.fault, declared="lasting")
            with self._at(days - 1, 16):
                bench.choose_fix(
                    job.repairs.get(),
                    fix=fix.order_by("-minutes").first(),
                    version=None,
                    by=self.bench,
                )
            job = self._mend(job, days=days - 2)
        return job

    def _earlier(self, *, before: date) -> Repair:
        """A repair of late that is still covered and whose device is not here."""
        found = (
            Repair.objects.filter(
                outcome=states.FIXED,
                job__is_from_history=True,
                job__handed_back_on__lt=before - timedelta(days=8),
                job__handed_back_on__gt=before - timedelta(days=120),
                covered_until__gte=before,
            )
            .annotate(visits=Count("job__device__jobs", distinct=True))
            .filter(visits=1)
            .select_related("job__device__owner", "job__device__model", "fault")
        )
        return self.pick.choice(list(found.order_by("id")))
