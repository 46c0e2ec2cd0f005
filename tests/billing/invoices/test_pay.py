"""Payments: in parts, once each, never too much; and bills taken back."""

import threading
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection, transaction
from django.db.utils import DatabaseError
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from billing.invoices.crediting import issue_credit_note
from billing.invoices.models import Invoice, Payment
from billing.invoices.payments import record_payment
from shopdesk.errors import RefusedError
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db


def pay(invoice, amount, *, key=None, means="cash"):
    return record_payment(
        invoice,
        amount=Decimal(amount),
        means=means,
        key=key or uuid4(),
        stamp=make.stamp(on=till.TODAY),
    )


def credit(invoice):
    return issue_credit_note(
        invoice, why="wrong customer", stamp=make.stamp(on=till.TODAY)
    )


def owed(invoice):
    """What the list shows; the record itself must say the same."""
    shown = Invoice.objects.with_balance().get(pk=invoice.pk).owed
    assert shown == invoice.balance
    return shown


def test_part_payments_add_up():
    invoice = till.handed_over()
    pay(invoice, 20)
    assert owed(invoice) == Decimal("50.80")
    pay(invoice, "50.80", means="card")
    assert owed(invoice) == 0
    assert list(Invoice.objects.settled()) == [invoice]


def test_the_same_form_twice_is_one_payment():
    invoice, key = till.handed_over(), uuid4()
    assert pay(invoice, 20, key=key) == pay(invoice, 20, key=key)
    assert Payment.objects.count() == 1


def test_a_form_of_another_bill_is_refused():
    one, other, key = till.handed_over(), till.handed_over(), uuid4()
    pay(one, 20, key=key)
    with pytest.raises(RefusedError, match="already used"):
        pay(other, 20, key=key)
    assert owed(other) == Decimal("70.80")


def test_too_much_is_refused_with_what_is_left():
    make.shop(currency="EUR")
    invoice = till.handed_over()
    with pytest.raises(RefusedError, match="balance due is €70.80"):
        pay(invoice, "70.81")
    pay(invoice, "70.80")
    with pytest.raises(RefusedError, match="no balance due"):
        pay(invoice, 1)
    assert Payment.objects.count() == 1


def test_a_credit_note_takes_the_whole_bill_back_in_its_own_series():
    invoice = till.handed_over()
    note = credit(invoice)
    assert note.full_number == "CN26-00001"
    assert (note.net, note.tax, note.gross) == (
        -invoice.net,
        -invoice.tax,
        -invoice.gross,
    )
    assert [line.amount for line in note.lines.all()] == [-51, -8]
    assert owed(invoice) == 0 and owed(note) == 0


def test_a_paid_bill_taken_back_is_owed_and_paid_back():
    invoice = till.handed_over(paid=Decimal(40), means="card", key=uuid4())
    credit(invoice)
    assert owed(invoice) == -40
    with pytest.raises(RefusedError, match="refund exceeds the credit"):
        pay(invoice, -41)
    pay(invoice, -40)
    assert owed(invoice) == 0


def test_a_bill_is_taken_back_once_and_a_credit_note_never():
    invoice = till.handed_over()
    note = credit(invoice)
    with pytest.raises(RefusedError, match="already fully credited"):
        credit(invoice)
    with pytest.raises(RefusedError, match="cannot be credited"):
        credit(note)
    with pytest.raises(RefusedError, match="on the credited invoice"):
        pay(note, 1)
    assert Invoice.objects.count() == 2


@pytest.mark.parametrize(
    "change",
    [
        lambda: Payment.objects.update(amount=Decimal(1)),
        lambda: Payment.objects.all()._raw_delete("default"),
    ],
)
def test_the_database_refuses_to_change_a_payment(change):
    invoice = till.handed_over(paid=Decimal(40), means="card", key=uuid4())
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        change()
    assert owed(invoice) == Decimal("30.80")


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(shares=st.lists(st.integers(1, 8000), min_size=1, max_size=6))
def test_whatever_is_paid_the_bill_never_gets_more_than_it_asks(db, shares):
    with transaction.atomic():
        invoice = till.handed_over()
        taken = Decimal(0)
        for cents in shares:
            amount = Decimal(cents) / 100
            if taken + amount <= invoice.gross:
                pay(invoice, amount)
                taken += amount
            else:
                with pytest.raises(RefusedError):
                    pay(invoice, amount)
        assert owed(invoice) == invoice.gross - taken >= 0
        transaction.set_rollback(True)


@pytest.mark.django_db(transaction=True)
def test_two_payments_at_once_are_together_not_too_much():
    invoice = till.handed_over()
    start = threading.Barrier(2)
    refused = []

    def hand_over():
        try:
            start.wait(timeout=20)
            pay(invoice, 50)
        except RefusedError as refusal:
            refused.append(refusal)
        finally:
            connection.close()

    threads = [threading.Thread(target=hand_over) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert len(refused) == 1 and owed(invoice) == Decimal("20.80")
