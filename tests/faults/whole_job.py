"""A shop at work, step by step, with faults; beside it a model of what must be true.

The model is a few dictionaries that know nothing of the tables. Each step is a form as
views send it: an action within `attempt()`, with a key. It may fail at any statement;
then all is as before, and the same form sent again acts once.
"""

from collections import Counter
from copy import copy
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from hashlib import sha256
from uuid import uuid4

from django.apps import apps
from django.db import OperationalError, connection, transaction
from django.db.models import Count, Sum
from django.test import RequestFactory
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)

from billing.handover.actions import hand_over
from billing.invoices.balance import balance_of
from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice, Payment
from billing.invoices.payments import record_deposit, record_payment
from billing.personal_data.erasing import erase_customer
from billing.personal_data.merging import merge_customers
from billing.quotes import answering, drafting, sending
from billing.quotes.models import Quote
from repairs.bench import actions as bench
from repairs.customers.models import Customer, Device
from repairs.intake.actions import book_in
from repairs.jobs import actions as parts
from repairs.jobs import states as s
from repairs.jobs import workflow
from repairs.jobs.models import Comeback, Job, Labour, PartUsed, Reading, Repair
from repairs.returns.actions import assess_return
from repairs.stock.models import Part
from shopdesk.keeping import tables
from shopdesk.recording.acting import WEB, acting
from shopdesk.recording.models import TrailEntry
from shopdesk.sent_forms.attempts import attempt
from shopdesk.sent_forms.once import AlreadySentError
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.faults import sound

D = Decimal
STOCK = 8
AT_BENCH = {"booked_in", "diagnosed", "approved", "repaired", "tested"}
STEPS = {  # what the shop's workflow says, written down once more
    "diagnose": ({"booked_in"}, "diagnosed"),
    "send": ({"diagnosed"}, "quoted"),
    "warranty": ({"diagnosed"}, "approved"),
    "accept": ({"quoted"}, "approved"),
    "decline": ({"quoted"}, "declined"),
    "revise": ({"quoted", "approved", "declined"}, "diagnosed"),
    "repaired": ({"approved"}, "repaired"),
    "failed": ({"repaired", "tested"}, "approved"),
    "close": ({"tested"}, "ready"),
    "give up": (AT_BENCH - {"repaired"}, "ready"),
    "hand over": ({"ready"}, "handed_over"),
}
troubles = st.sampled_from([0] * 9 + [-1, -1, 1, 2, 3, 5, 8, 13, 21, 34, 55])
"""The statement that fails; 0 for none, -1: the form is sent again with its key."""
which = st.integers(0, 5)

KINDS = [s.SAME_FAULT, s.NEW_FAULT, s.HANDLING_DAMAGE]
BENCH = {
    "findings": {},
    "a_fault_is_found": {"fault": st.integers(0, 1)},
    "diagnosed": {},
    "a_part_is_used": {"quantity": st.integers(1, 3)},
    "a_part_is_put_back": {},
    "time_is_booked": {"minutes": st.integers(1, 90)},
    "something_is_measured": {},
    "repaired": {},
    "tested": {"failed": st.booleans()},
    "closed": {},
    "closed_unrepaired": {},
}
QUOTES = {
    "a_quote_is_sent": {},
    "any_quote_is_answered": {"yes": st.booleans()},
    "the_quote_must_change": {},
    "weeks_pass": {},
}
MONEY = {
    "handed_over": {},
    "a_deposit": {"cents": st.integers(-900, 900)},
    "a_payment_or_refund": {"share": st.sampled_from([-100, 50, 100, 101])},
    "a_credit_note": {},
    "billed_again": {},
}
PEOPLE = {
    "a_return_is_assessed": {"assessment": st.sampled_from(KINDS)},
    "a_warranty_repair_begins": {},
    "a_customer_is_erased": {},
    "two_customers_are_one": {},
}
STEPS_OF_A_JOB = BENCH | QUOTES | MONEY | PEOPLE
NEXT = {
    "booked_in": "diagnosed",
    "diagnosed": "a_quote_is_sent",
    "quoted": "any_quote_is_answered",
    "declined": "the_quote_must_change",
    "approved": "repaired",
    "repaired": "tested",
    "tested": "closed",
    "ready": "handed_over",
    "handed_over": "a_payment_or_refund",
}


def some_of(*groups):
    """Return a strategy for a few steps of these groups, with their facts."""
    steps = [
        st.tuples(st.just(name), st.fixed_dictionaries(facts))
        for group in groups
        for name, facts in group.items()
    ]
    return st.lists(st.one_of(steps), min_size=2, max_size=5)


def at_work(act, **facts):
    """Return a rule that begins once there is a job."""
    made = rule(n=which, trouble=troubles, **facts)(
        lambda self, **drawn: act(self, **drawn)
    )
    return precondition(lambda self: self.jobs)(made)


LIKELY = {"failed": False, "yes": True, "share": 100}
# These write rows that nobody can change, and a draft is nobody's business yet.
THEIR_OWN_RECORD = (record_deposit, record_payment, drafting.draft)


class BrokenError(OperationalError):
    """What the database says at the statement chosen."""


def fingerprint():
    """Return a hash of every row of the shop."""
    found = sha256()
    for model in tables.stored_models(apps):
        rows = model._base_manager.order_by("pk").values_list()
        found.update(repr([model.__name__, *rows]).encode())
    return found.hexdigest()


def sums(rows, by, of):
    """Return a figure of the rows for each job that has any."""
    rows = getattr(rows, "objects", rows).order_by().values_list(by)
    return Counter(dict(rows.annotate(n=of).values_list(by, "n")))


class FailAt:
    """Fails at the n-th statement. If the end of a savepoint failed, all would be
    rolled back, and here that is the whole run."""

    def __init__(self, n):
        self.left = n

    def __call__(self, execute, sql, params, many, context):
        self.left -= not sql.startswith(("ROLLBACK", "RELEASE"))
        if self.left == 0:
            self.left = -1
            raise BrokenError("disk I/O error")
        return execute(sql, params, many, context)


@dataclass
class Known:
    """What the model knows of a job."""

    pk: int
    state: str
    faults: set = field(default_factory=set)
    parts: int = 0
    minutes: int = 0
    readings: int = 0
    billed: Decimal = D(0)
    came: Decimal = D(0)


class Workshop(RuleBasedStateMachine):
    """Customers, their devices, and jobs from booking in to the last refund."""

    def __init__(self):
        super().__init__()
        # Undone at the end: each run begins with the same database.
        self.undone = transaction.atomic()
        self.undone.__enter__()
        self.today, self.jobs, self.quotes = till.TODAY, [], []
        self.papers, self.shown, self.until = {}, {}, {}
        self.erased, self.stock, self.last = set(), STOCK, None
        self.done = Counter()

    @initialize()
    def the_shop_opens(self):
        self.shop = make.shop(tax_rate=D(20))
        self.by = make.user(Role.OWNER)
        self.faults = [make.fault(f"PWR-{n}") for n in range(2)]
        for one in self.faults:
            make.fix(one, minutes=45)
        self.part = make.part("J-5", on_hand=STOCK)
        self.customers = [make.customer(f"Customer {n}") for n in range(3)]

    # --- how a step is done ---------------------------------------------------

    def stamp(self):
        return make.stamp(on=self.today, by=self.by)

    def do(self, trouble, action, *args, **facts):
        """Send a form; return whether it was done, and the action's result."""
        facts.setdefault("stamp", self.stamp())
        key = str(uuid4())

        def send():
            request = RequestFactory().post("/", {"form_key": key})
            request.user, request._messages = self.by, NoMessages()
            # Each request reads its records anew.
            read = [copy(one) for one in args]
            with acting(WEB, self.by):
                return attempt(request, None, action, *read, **facts)

        entries = TrailEntry.objects.count()
        before = fingerprint() if trouble else ""
        try:
            with connection.execute_wrapper(FailAt(trouble)):
                sent = send()
        except BrokenError:
            assert fingerprint() == before, f"{action.__name__} was done by half"
            self.done["failed"] += 1
            sent = send()
        if not sent:
            assert not before or fingerprint() == before
            assert TrailEntry.objects.count() == entries
            return False, None
        new = TrailEntry.objects.order_by("-id")[: TrailEntry.objects.count() - entries]
        assert {entry.by_id for entry in new} <= {self.by.pk}
        assert new or action in THEIR_OWN_RECORD
        if trouble < 0:
            before = fingerprint()
            try:
                send()
            except AlreadySentError:
                assert fingerprint() == before
                self.done["sent again"] += 1
            else:
                raise AssertionError("a form acted twice")
        self.done[action.__name__] += 1
        return True, sent.result

    def job(self, n):
        known = self.jobs[n % len(self.jobs)] if self.jobs else None
        self.last = known
        return known, known and Job.objects.get(pk=known.pk)

    def step(self, name, known, may, is_done):
        """The workflow has done a step where it may, and only there."""
        allowed, new = STEPS[name]
        assert is_done == bool(known.state in allowed and may), (name, known)
        if is_done:
            known.state = new

    def teardown(self):
        try:
            for known in self.jobs:
                self.the_money_is_right(known)
            assert [*sound.wrong_trail()] == []
            assert Comeback.objects.first_difference() == ""
        finally:
            transaction.set_rollback(True)
            self.undone.__exit__(None, None, None)

    # --- what happens: mostly what comes next, and anything at any time -------

    def go_on(self, n, trouble, times):
        for _ in range(times):
            known, job = self.job(n)
            name = NEXT[known.state]
            facts = {x: LIKELY[x] for x in STEPS_OF_A_JOB[name] if x in LIKELY}
            if name == "diagnosed" and not known.faults:
                self.a_fault_is_found(n, fault=n % 2, trouble=trouble)
            if name == "repaired":
                self.a_part_is_used(n, quantity=1 + n % 3, trouble=trouble)
                self.time_is_booked(n, minutes=5, trouble=trouble)
            if name == "tested" and n % 2:
                self.a_part_is_put_back(n, trouble=trouble)
            if name == "any_quote_is_answered":
                quote = Quote.objects.filter(job=job, state="sent").last()
                n = self.quotes.index(quote.pk) if quote else n
            getattr(self, name)(n, trouble=trouble, **facts)

    def happen(self, n, trouble, steps):
        for name, facts in steps:
            getattr(self, name)(n, trouble=trouble, **facts)

    the_work_goes_on = at_work(go_on, times=st.integers(1, 4))
    it_goes_on_quickly = at_work(go_on, times=st.integers(5, 8))
    at_the_bench = at_work(happen, steps=some_of(BENCH))
    about_quotes = at_work(happen, steps=some_of(QUOTES))
    about_money = at_work(happen, steps=some_of(MONEY))
    about_people = at_work(happen, steps=some_of(PEOPLE))
    about_anything = at_work(happen, steps=some_of(BENCH, QUOTES, MONEY, PEOPLE))

    # --- the counter ----------------------------------------------------------

    @precondition(lambda self: len(self.jobs) < 6)
    @rule(n=which, code=st.booleans(), trouble=troubles)
    def a_device_comes_in(self, n, code, trouble):
        devices = list(Device.objects.order_by("pk"))
        device = devices[n] if n < len(devices) else None
        owner = device.owner if device else self.customers[n % len(self.customers)]
        past = Repair.objects.filter(job__device=device, outcome=s.FIXED)
        earlier = past.filter(job__handed_over_on__lte=self.today).last()
        is_here = device and device.jobs.open().exists()

        def book(owner, *, stamp):
            job = Job(complaint="Dead", data_access="yes" if code else "no")
            new = device or Device(
                owner=owner, model=make.device_model(), serial=f"S{len(devices)}"
            )
            return book_in(
                uuid4(),
                customer=owner,
                device=new,
                job=job,
                earlier_repair=earlier if device else None,
                access_code="4711" if code else "",
                stamp=stamp,
            )[0]

        is_done, job = self.do(trouble, book, owner)
        assert is_done == (not is_here)
        if is_done:
            self.jobs.append(Known(job.pk, "booked_in"))

    # --- the bench ------------------------------------------------------------

    def findings(self, n, trouble):
        known, job = self.job(n)
        if job:
            facts = {"failed": 1, "tries": 2, "symptoms": [], "notes": str(uuid4())}
            version = job.version
            is_done, _ = self.do(
                trouble, bench.save_findings, job, version=version, **facts
            )
            assert is_done == (known.state in {"booked_in", "diagnosed", "approved"})

    def a_fault_is_found(self, n, fault, trouble):
        known, job = self.job(n)
        if job:
            may = known.state in {"booked_in", "diagnosed"} and (
                fault not in known.faults
            )
            is_done, _ = self.do(
                trouble, bench.add_fault, job, fault=self.faults[fault]
            )
            assert is_done == may
            if is_done:
                known.faults.add(fault)

    def diagnosed(self, n, trouble):
        known, job = self.job(n)
        if job:
            is_done, _ = self.do(trouble, workflow.diagnose, job)
            self.step("diagnose", known, known.faults, is_done)

    def a_part_is_used(self, n, quantity, trouble):
        known, job = self.job(n)
        repair = job and job.repairs.first()
        if repair:
            is_done, _ = self.do(
                trouble, parts.use_part, repair, part=self.part, quantity=quantity
            )
            assert is_done == (known.state in AT_BENCH and quantity <= self.stock)
            if is_done:
                self.stock -= quantity
                known.parts += quantity

    def a_part_is_put_back(self, n, trouble):
        known, job = self.job(n)
        used = job and PartUsed.objects.filter(repair__job=job).first()
        if used:
            quantity = used.quantity
            is_done, _ = self.do(trouble, parts.put_back_part, used)
            assert is_done == (known.state in AT_BENCH)
            if is_done:
                self.stock += quantity
                known.parts -= quantity

    def time_is_booked(self, n, minutes, trouble):
        known, job = self.job(n)
        if job:
            facts = {"repair": None, "is_billable": True, "note": ""}
            is_done, _ = self.do(
                trouble, bench.add_labour, job, minutes=minutes, **facts
            )
            assert is_done == (known.state in AT_BENCH)
            known.minutes += minutes * is_done

    def something_is_measured(self, n, trouble):
        known, job = self.job(n)
        if job:
            is_done, _ = self.do(
                trouble, bench.add_reading, job, test_point="5 V", value="4.9"
            )
            assert is_done == (known.state in AT_BENCH)
            known.readings += is_done

    def repaired(self, n, trouble):
        known, job = self.job(n)
        if job:
            has_fixes = not job.repairs.filter(fix=None).exists()
            is_done, _ = self.do(trouble, workflow.mark_repaired, job)
            self.step("repaired", known, has_fixes, is_done)

    def tested(self, n, failed, trouble):
        known, job = self.job(n)
        repair = job and job.repairs.filter(final_tests=None).last()
        repair = repair or (job and job.repairs.last())
        if repair:
            facts = {"tries": 400, "failed": int(failed), "note": "", "shop": self.shop}
            is_done, _ = self.do(trouble, bench.record_final_test, repair, **facts)
            assert is_done == (known.state == "repaired")
            if is_done:
                job.refresh_from_db()
                known.state = "approved" if failed else job.state
                assert known.state in {"approved", "repaired", "tested"}

    def closed(self, n, trouble):
        known, job = self.job(n)
        if job:
            facts = {
                repair: {
                    "outcome": s.FIXED,
                    "fix_type": "lasting",
                    "no_part_needed": True,
                }
                for repair in job.repairs.all()
            }
            version = job.version
            more = {"repairs": facts, "why": "", "version": version}
            is_done, _ = self.do(trouble, bench.close_fixed, job, **more)
            decision = job.decision
            may = decision is None or decision.assessment != s.UNDECIDED
            self.step("close", known, may, is_done)

    def closed_unrepaired(self, n, trouble):
        known, job = self.job(n)
        if job:
            facts = {"outcome": s.NOT_REPAIRABLE, "why": "board cracked"}
            decision = job.decision
            may = decision is None or decision.assessment != s.UNDECIDED
            is_done, _ = self.do(trouble, workflow.close, job, **facts)
            self.step("give up", known, may, is_done)

    # --- quotes ---------------------------------------------------------------

    def a_quote_is_sent(self, n, trouble):
        known, job = self.job(n)
        if job and (drawn := self.do(trouble, drafting.draft, job)[1]):
            assert known.state == "diagnosed"
            self.quotes.append(drawn.pk)
        draft = job and Quote.objects.filter(job=job, state="draft").last()
        if draft:
            may = draft.options.exists()
            is_done, _ = self.do(trouble, sending.send, draft)
            self.step("send", known, may, is_done)

    def any_quote_is_answered(self, n, yes, trouble):
        """Also one that was replaced, answered, or has expired."""
        if not self.quotes:
            return
        quote = Quote.objects.get(pk=self.quotes[n % len(self.quotes)])
        [known] = [one for one in self.jobs if one.pk == quote.job_id]
        is_open = quote.state == "sent" and known.state == "quoted"
        facts = {"who": "Ada", "how": "counter"}
        if not yes:
            was = quote.state
            is_done, _ = self.do_quietly(trouble, was == "declined", quote, **facts)
            if is_done and was != "declined":
                assert is_open
                known.state = "declined"
            return
        if quote.state == "accepted":
            return  # once more the same changes nothing
        option = quote.options.first()
        is_done, _ = self.do(trouble, answering.accept, quote, option=option, **facts)
        may = is_open and self.today <= quote.valid_until
        assert is_done == may, (quote.state, known.state)
        if is_done:
            known.state = "approved"

    def do_quietly(self, trouble, is_repeated, quote, **facts):
        if is_repeated:
            return False, None
        return self.do(trouble, answering.decline, quote, why="too expensive", **facts)

    def the_quote_must_change(self, n, trouble):
        known, job = self.job(n)
        if job:
            is_done, _ = self.do(trouble, workflow.revise, job)
            self.step("revise", known, True, is_done)

    # --- handover and money ---------------------------------------------------

    def handed_over(self, n, trouble):
        known, job = self.job(n)
        if job and known.state != "handed_over":
            before = job.booked_in_on
            last = Invoice.objects.filter(kind="invoice").order_by("issued_on").last()
            facts = {"version": None, "paid": D(0), "means": "", "key": uuid4()}
            is_done, invoice = self.do(trouble, hand_over, job, **facts)
            has_bill = job.invoices.in_force().exists() and not is_done
            may = before <= self.today and not has_bill
            may = may and (last is None or last.issued_on <= self.today)
            self.step("hand over", known, may, is_done)
            if invoice:
                known.billed += invoice.gross

    def a_deposit(self, n, cents, trouble):
        known, job = self.job(n)
        if job:
            held = balance_of(job).deposit
            amount = D(cents or 1) / 100
            facts = {"amount": amount, "means": "card", "key": uuid4()}
            is_done, made = self.do(trouble, record_deposit, job, **facts)
            if is_done:
                assert amount > 0 or -amount <= held
                known.came += made.amount

    def a_payment_or_refund(self, n, share, trouble):
        bill = Invoice.objects.filter(kind="invoice").order_by("pk")[n : n + 1].first()
        if bill and (amount := (bill.balance * share / 100).quantize(D("0.01"))):
            facts = {"amount": amount, "means": "card", "key": uuid4()}
            is_done, made = self.do(trouble, record_payment, bill, **facts)
            assert is_done == (share in (50, 100))
            if is_done:
                self.known_of(bill).came += made.amount

    def a_credit_note(self, n, trouble):
        bill = Invoice.objects.filter(kind="invoice").order_by("pk")[n : n + 1].first()
        if bill:
            is_done, note = self.do(trouble, issue_credit_note, bill, why="error")
            if is_done:
                self.known_of(bill).billed += note.gross

    def billed_again(self, n, trouble):
        known, job = self.job(n)
        if job and known.state == "handed_over":
            is_done, bill = self.do(trouble, issue_invoice, job)
            if is_done:
                known.billed += bill.gross

    def known_of(self, bill):
        return next(one for one in self.jobs if one.pk == bill.job_id)

    # --- returns, people, the clock -------------------------------------------

    def a_return_is_assessed(self, n, assessment, trouble):
        known, job = self.job(n)
        if job and job.decision:
            was = job.state
            facts = {
                "earlier": job.decision.earlier,
                "assessment": assessment,
                "is_in_warranty": assessment == s.SAME_FAULT,
            }
            is_done, _ = self.do(trouble, assess_return, job, **facts)
            job.refresh_from_db()
            if (
                is_done
                and assessment == s.SAME_FAULT
                and was
                in {
                    "booked_in",
                    "diagnosed",
                }
            ):
                # The fault that is back is on the job.
                fault = job.decision.earlier.fault
                known.faults |= {n for n, f in enumerate(self.faults) if f == fault}
            # Without warranty, work that nobody agreed to stops.
            assert job.state in (was, "diagnosed")
            known.state = job.state

    def a_warranty_repair_begins(self, n, trouble):
        known, job = self.job(n)
        if job:
            may = job.needs_no_quote
            is_done, _ = self.do(trouble, workflow.approve_warranty_repair, job)
            self.step("warranty", known, may, is_done)
            for repair in job.repairs.filter(fix=None) if is_done else ():
                Repair.objects.filter(pk=repair.pk).update(
                    fix=repair.fault.fixes.first()
                )

    def a_customer_is_erased(self, n, trouble):
        customer = self.customers[n % len(self.customers)]
        name = customer.name
        is_done, _ = self.do(trouble, erase_customer, customer)
        if is_done:
            mine = Job.objects.filter(customer=customer)
            assert not mine.open().exists()
            self.erased.add(name)

    def two_customers_are_one(self, n, trouble):
        if len(self.customers) > 2:
            kept, gone = self.customers[n % 2], self.customers[-1]
            jobs = Job.objects.filter(customer__in=[kept, gone]).count()
            is_done, _ = self.do(trouble, merge_customers, kept, gone)
            if is_done:
                self.customers.remove(gone)
                assert Job.objects.filter(customer=kept).count() == jobs

    @rule(days=st.sampled_from([-400, -2, 1, 1, 7, 31]))
    def the_clock_moves(self, days):
        self.today += timedelta(days=days)

    def weeks_pass(self, n, trouble):
        """Quotes expire."""
        self.today += timedelta(days=31)

    # --- what must be true after each step ------------------------------------

    @invariant()
    def all_is_as_the_model_says(self):
        if not self.jobs:
            return
        assert Part.objects.get().on_hand == self.stock
        assert not Part.objects.with_wrong_stock().exists()
        known = {one.pk: one for one in self.jobs}
        states = dict(Job.objects.values_list("pk", "state"))
        assert states == {pk: one.state for pk, one in known.items()}
        minutes = sums(Labour, "job", Sum("minutes"))
        assert minutes == +Counter({pk: one.minutes for pk, one in known.items()})
        used = sums(PartUsed, "repair__job", Sum("quantity"))
        assert used == +Counter({pk: one.parts for pk, one in known.items()})
        readings = sums(Reading, "job", Count("pk"))
        assert readings == +Counter({pk: one.readings for pk, one in known.items()})
        repairs = sums(Repair, "job", Count("pk"))
        assert repairs == +Counter({pk: len(one.faults) for pk, one in known.items()})
        accepted = sums(Quote.objects.filter(state="accepted"), "job", Count("pk"))
        assert max(accepted.values(), default=0) <= 1
        for check in (sound.wrong_numbers, sound.wrong_jobs, sound.wrong_parts):
            assert [*check()] == []
        if self.last:
            self.the_money_is_right(self.last)

    def the_money_is_right(self, known):
        balance = balance_of(Job.objects.get(pk=known.pk))
        assert balance.paid == known.came
        assert not balance.is_invoiced or balance.owed == known.billed - known.came

    @invariant()
    def what_was_issued_stays_as_it_was(self):
        rows = Invoice.objects.values_list("pk", "pdf_sha256", "gross", "issued_on")
        kept = {pk: facts for pk, *facts in rows}
        assert {pk: kept.get(pk) for pk in self.papers} == self.papers
        self.papers = kept
        sent = Quote.objects.exclude(sent_at=None)
        now = {
            quote.pk: [
                (option.pk, option.totals().gross) for option in quote.options.all()
            ]
            for quote in sent.prefetch_related("options__lines")
        }
        assert {pk: now.get(pk) for pk in self.shown} == self.shown
        self.shown = now
        ended = Repair.objects.exclude(handed_over_on=None)
        until = dict(ended.values_list("pk", "warranty_until"))
        assert {pk: until.get(pk) for pk in self.until} == self.until
        self.until = until

    @invariant()
    def an_erased_name_is_gone(self):
        names = Customer.objects.values_list("name", flat=True)
        assert not self.erased & set(names)
        assert Payment.objects.count() == Payment.objects.distinct().count()


class NoMessages:
    def add(self, *facts):
        """A refusal is seen by its result."""
