"""Whatever the desk does in whatever order, the sums of a job stay right.

Beside the database runs a model of a few lines that knows nothing of its tables.
"""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from billing.invoices.balance import balance_of
from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice, Payment
from billing.invoices.payments import record_deposit, record_payment
from billing.reminders.actions import send_reminder
from shopdesk.errors import RefusedError
from tests import make
from tests.billing import till

D = Decimal
LATE = till.TODAY + timedelta(days=15)
CURRENCIES = [
    ("JPY", 0, D(0)),
    ("EUR", 2, D(0)),
    ("CHF", 2, D("0.05")),
    ("KWD", 3, D("0.005")),
]
shares = st.sampled_from([1, 17, 33, 50, 99, 100, 101, 150])
"""In percent of what is open: parts, all of it, too much."""
means = st.sampled_from(["cash", "card", "transfer"])


class Desk(RuleBasedStateMachine):
    """One job at the till. `billed` and `came` are what the model knows."""

    def __init__(self):
        super().__init__()
        # Undone at the end: each run begins with the same database.
        self.undone = transaction.atomic()
        self.undone.__enter__()

    @initialize(
        currency=st.sampled_from(CURRENCIES),
        include=st.booleans(),
        rate=st.sampled_from([0, 7, 20]),
        is_done=st.booleans(),
    )
    def a_job_is_agreed_on(self, currency, include, rate, is_done):
        name, self.places, self.step = currency
        make.shop(
            currency=name,
            cash_step=self.step,
            prices_include_tax=include,
            tax_rate=D(rate),
        )
        self.job = till.accepted().job
        self.job.refresh_from_db()
        self.is_done = False
        self.billed = self.came = self.rounded = D(0)
        self.fees = {}
        if is_done:
            self.the_work_is_done()

    def bills(self):
        return list(Invoice.objects.filter(job=self.job, kind="invoice").order_by("id"))

    def amount(self, share, of):
        exact = of * share / 100
        return exact.quantize(D(1).scaleb(-self.places))

    def took(self, act, **facts):
        """Do it, or be refused; a refusal moves nothing."""
        before = Payment.objects.count()
        facts = {"key": uuid4(), "stamp": make.stamp(on=till.TODAY)} | facts
        try:
            made = act(**facts)
        except RefusedError:
            assert Payment.objects.count() == before
            return None
        # The same form again is the same payment.
        assert act(**facts) == made
        self.came += made.amount
        self.rounded += made.rounding
        return made

    @rule(share=shares, means=means)
    def take_a_deposit(self, share, means):
        amount = self.amount(share, D(50))
        if amount:
            self.took(
                lambda **f: record_deposit(self.job, amount=amount, means=means, **f)
            )

    @rule(share=shares, means=means)
    def pay_a_deposit_back(self, share, means):
        here = balance_of(self.job).deposit
        amount = self.amount(share, here)
        if amount > 0:
            made = self.took(
                lambda **f: record_deposit(self.job, amount=-amount, means=means, **f)
            )
            assert made is None or -made.settles <= here

    @precondition(lambda self: not self.is_done)
    @rule()
    def the_work_is_done(self):
        till.mend(self.job)
        self.is_done = True

    @rule(share=st.integers(0, 120), means=means)
    def issue(self, share, means):
        expected = not self.is_done or self.job.invoices.in_force().exists()
        before = Invoice.objects.count(), Payment.objects.count()
        paid = self.amount(share, D(30))
        try:
            invoice = issue_invoice(
                self.job,
                stamp=make.stamp(on=till.TODAY),
                paid=paid,
                means=means,
                key=uuid4(),
            )
        except RefusedError:
            assert (Invoice.objects.count(), Payment.objects.count()) == before
            return
        assert not expected
        self.billed += invoice.gross
        self.came += invoice.paid_with_it
        self.rounded += invoice.rounding

    @rule(share=shares, means=means, data=st.data())
    def pay_on_a_bill(self, share, means, data):
        if bills := self.bills():
            bill = data.draw(st.sampled_from(bills))
            amount = self.amount(share, bill.balance)
            if amount:
                self.took(
                    lambda **f: record_payment(bill, amount=amount, means=means, **f)
                )

    @rule(part=st.booleans(), data=st.data())
    def credit(self, part, data):
        if bills := self.bills():
            bill = data.draw(st.sampled_from(bills))
            lines = bill.remaining_lines()
            back = None
            if part:
                back = {
                    line.pk: line.quantity * data.draw(st.integers(0, 4)) / 4
                    for line in lines
                }
            try:
                note = issue_credit_note(
                    bill, why="no", quantities=back, stamp=make.stamp(on=till.TODAY)
                )
            except RefusedError:
                return
            assert note.gross <= 0
            self.billed += note.gross
            if note.is_whole:
                self.fees.pop(bill.pk, None)

    @rule(fee=st.integers(0, 5), data=st.data())
    def remind(self, fee, data):
        if bills := self.bills():
            bill = data.draw(st.sampled_from(bills))
            try:
                send_reminder(bill, stamp=make.stamp(on=LATE), text="", fee=D(fee))
            except RefusedError:
                return
            self.fees[bill.pk] = self.fees.get(bill.pk, 0) + fee

    @invariant()
    def the_sums_are_right(self):
        if not hasattr(self, "job"):
            return
        balance = balance_of(self.job)
        asked = self.billed + sum(self.fees.values())
        assert balance.paid == self.came + self.rounded
        if balance.is_invoiced:
            assert balance.owed == asked - self.came - self.rounded
            assert balance.invoiced == asked
        assert balance.deposit >= 0
        bills = Invoice.objects.with_balance().filter(job=self.job, kind="invoice")
        assert sum(bill.owed for bill in bills) - balance.deposit == (
            asked - self.came - self.rounded
        )
        # Nothing goes back that did not come, and the shop owes no more than that.
        assert self.came + self.rounded >= 0
        assert balance.owed >= -balance.paid
        moved = Payment.objects.filter(job=self.job, means="moved")
        assert sum(one.amount for one in moved) == 0
        for bill in bills:
            notes = -sum(note.gross for note in bill.credit_notes.all())
            assert 0 <= notes <= bill.gross
            # A bill of which nothing was taken back is never overpaid.
            assert notes or bill.owed >= 0
            # A deposit stays beside a bill only where the bill did not need it, or was
            # taken back.
            assert not balance.deposit or notes or bill.deposits_used == bill.gross
        assert len([bill for bill in bills if not bill.is_credited]) <= 1

    @invariant()
    def the_numbers_have_no_gap(self):
        for kind in ("invoice", "credit"):
            found = Invoice.objects.filter(kind=kind).values_list("number", flat=True)
            assert sorted(found) == list(range(1, len(found) + 1))

    def teardown(self):
        transaction.set_rollback(True)
        self.undone.__exit__(None, None, None)


@pytest.mark.django_db
def test_any_sequence_of_acts_keeps_the_sums_right(monkeypatch):
    """The papers are not drawn here: each act has its own test of its paper."""
    for where in (
        "billing.invoices.issuing.invoice_paper",
        "billing.invoices.payments.receipt_paper",
        "billing.reminders.actions.reminder_paper",
        "billing.quotes.sending.render_quote_pdf",
    ):
        monkeypatch.setattr(where, lambda *args, **kwargs: b"%PDF-")
    run_state_machine_as_test(
        Desk,
        settings=settings(
            max_examples=20,
            stateful_step_count=12,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
