"""Who owes since when, and who is reminded of it."""

import threading
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import pikepdf
import pytest
import time_machine
from django.db import connection, transaction
from django.db.utils import DatabaseError
from django.urls import reverse

from billing.invoices.crediting import issue_credit_note
from billing.invoices.models import Invoice, Payment, Reminder
from billing.invoices.payments import record_payment
from billing.reminders.actions import (
    due_for_reminder,
    outstanding_invoices,
    send_reminder,
    waive_fees,
)
from shopdesk.errors import EmailError, RefusedError
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db
D = Decimal
DUE = till.TODAY + timedelta(days=14)
LATE = DUE + timedelta(days=3)


def reminded(invoice, *, on=LATE, **facts):
    facts.setdefault("text", "It is still open.")
    return send_reminder(invoice, stamp=make.stamp(on=on), **facts)


def pay(invoice, amount):
    return record_payment(
        invoice, amount=D(amount), means="card", key=uuid4(), stamp=make.stamp(on=LATE),
    )  # fmt: skip


def seen(invoice):
    return Invoice.objects.for_list().get(pk=invoice.pk)


def test_a_bill_is_due_after_the_shop_s_days_and_then_overdue():
    invoice = seen(till.handed_over())
    assert invoice.due_on == DUE
    assert invoice.status_on(DUE) == "open" and invoice.days_late(DUE) == 0
    assert invoice.status_on(LATE) == "overdue" and invoice.days_late(LATE) == 3
    assert not Invoice.objects.overdue(DUE).exists()
    assert Invoice.objects.overdue(LATE).get() == invoice


def test_the_days_that_held_when_it_was_issued_hold():
    make.shop(payment_term_days=5)
    invoice = till.handed_over()
    make.shop(payment_term_days=60)
    assert seen(invoice).due_on == till.TODAY + timedelta(days=5)


def test_reminders_are_counted_and_each_waits_for_the_shop_s_days():
    invoice = till.handed_over()
    with pytest.raises(RefusedError, match="is not overdue"):
        reminded(invoice, on=DUE)
    assert reminded(invoice).level == 1
    with pytest.raises(RefusedError, match="possible on 1 Apr 2026"):
        reminded(invoice, on=LATE + timedelta(days=9))
    assert reminded(invoice, on=LATE + timedelta(days=10)).level == 2
    assert Reminder.objects.count() == 2


def test_a_fee_is_asked_besides_and_must_be_paid_too():
    invoice = till.handed_over()
    made = reminded(invoice, fee=D(4))
    assert made.owed == D("74.80") and invoice.balance == D("74.80")
    pay(invoice, "74.80")
    assert invoice.balance == 0
    with pytest.raises(RefusedError, match="has no balance due"):
        reminded(invoice, on=LATE + timedelta(days=30))


def test_a_fee_that_nobody_pays_is_let_go_and_no_more_than_the_fee():
    invoice = till.handed_over()
    reminded(invoice, fee=D(4))
    pay(invoice, "72.80")
    gone = waive_fees(invoice, stamp=make.stamp(on=LATE))
    assert gone.amount == 2 and invoice.balance == 0
    assert not Payment.objects.over_the_counter().filter(pk=gone.pk).exists()
    other = till.handed_over()
    reminded(other, fee=D(4))
    assert waive_fees(other, stamp=make.stamp(on=LATE)).amount == 4
    with pytest.raises(RefusedError, match="has no open reminder fee"):
        waive_fees(other, stamp=make.stamp(on=LATE))
    assert other.balance == D("70.80")


def test_a_bill_taken_back_asks_no_fee_any_more():
    invoice = till.handed_over()
    reminded(invoice, fee=D(4))
    issue_credit_note(invoice, why="no", stamp=make.stamp(on=LATE))
    assert invoice.balance == 0 and seen(invoice).owed == 0


def test_the_letter_goes_out_with_reminder_and_bill_or_nothing_happens():
    owner = make.customer(email="ada@fenwick.example")
    invoice = till.handed_over(of=make.device(owner=owner))
    before = Email.objects.count()
    made = reminded(invoice, mail=True)
    letter = Email.objects.latest("pk")
    assert (letter.to, made.mailed_to) == (owner.email, owner.email)
    assert "INV26-00001" in letter.subject and "70.80" in letter.text
    assert "It is still open." in letter.text
    files = [bytes(one.file) for one in letter.attachments.all()]
    assert files == [bytes(made.pdf), bytes(invoice.pdf)]
    nobody = till.handed_over()
    with pytest.raises(EmailError):
        reminded(nobody, mail=True)
    assert Reminder.objects.count() == Email.objects.count() - before == 1


@pytest.mark.paper
def test_the_reminder_is_a_paper_for_everybody():
    made = reminded(till.handed_over())
    with pikepdf.open(BytesIO(bytes(made.pdf))) as pdf:
        assert len(pdf.pages) == 1 and pdf.Root.MarkInfo.Marked
        assert b"pdfuaid:part" in pdf.Root.Metadata.read_bytes()


@pytest.mark.parametrize(
    "change",
    [
        lambda: Reminder.objects.update(fee=D(9)),
        lambda: Reminder.objects.all()._raw_delete("default"),
    ],
)
def test_the_database_refuses_to_change_a_reminder(change):
    reminded(till.handed_over())
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        change()
    assert Reminder.objects.get().fee == 0


@pytest.mark.django_db(transaction=True)
def test_two_at_once_remind_once():
    invoice = till.handed_over()
    start = threading.Barrier(2)
    refused = []

    def press():
        try:
            start.wait(timeout=20)
            reminded(invoice)
        except RefusedError as refusal:
            refused.append(refusal)
        finally:
            connection.close()

    threads = [threading.Thread(target=press) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert len(refused) == 1 and Reminder.objects.get().level == 1


# --- on the screen --------------------------------------------------------------------


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    with time_machine.travel(LATE, tick=True):
        yield client


@pytest.mark.parametrize("n", [1, 8])
def test_the_list_asks_the_same_however_many_owe(desk, n, django_assert_num_queries):
    for _ in range(n):
        reminded(till.handed_over(with_part=False))
    with django_assert_num_queries(8):
        page = desk.get(reverse("reminders:outstanding"))
    assert len(page.context["table"].rows) == n


def test_the_list_is_of_those_who_owe_and_says_how_late(desk):
    owing = till.handed_over()
    till.handed_over(paid=D("70.80"), means="cash", key=uuid4())
    page = desk.get(reverse("reminders:outstanding")).content.decode()
    assert "€70.80 outstanding, €70.80 of it overdue" in page
    assert [one.pk for one in outstanding_invoices()] == [owing.pk]
    assert reverse("reminders:remind", args=[owing.pk]) in page


def test_one_press_reminds_all_whose_time_has_come(desk):
    mailed = make.device(owner=make.customer(email="ada@fenwick.example"))
    till.handed_over(of=mailed)
    till.handed_over()
    till.handed_over(on=LATE)
    where, before = reverse("reminders:remind_all"), Email.objects.count()
    page = desk.post(where, {"mail": "on"}, follow=True).content.decode()
    assert "Reminders created: 2, of which 1 emailed" in page
    page = desk.post(where, {"mail": "on"}, follow=True).content.decode()
    assert "No reminders are due" in page
    assert Reminder.objects.count() == 2 and Email.objects.count() == before + 1
    assert not due_for_reminder(on=LATE, shop=Shop.current()).exists()


@pytest.mark.parametrize("fee", ["1e5", "NaN", "-1", "9" * 400, "1.000,50"])
def test_a_fee_that_makes_no_sense_is_told_and_kept(desk, fee):
    invoice = till.handed_over()
    where = reverse("reminders:remind", args=[invoice.pk])
    page = desk.post(where, {"text": "Please.", "fee": fee}).content.decode()
    assert fee in page and "Please." in page and "problem" in page
    assert not Reminder.objects.exists()
    page = desk.post(where, {"text": "Please.", "fee": "2,50"}, follow=True)
    assert "Reminder 1 created" in page.content.decode()
    assert invoice.balance == D("73.30")
    made = Reminder.objects.get()
    where = reverse("reminders:waive_fees", args=[invoice.pk])
    assert where in desk.get(invoice.get_absolute_url()).content.decode()
    page = desk.post(where, follow=True).content.decode()
    assert "fees waived" in page and invoice.balance == D("70.80")
    paper = desk.get(reverse("reminders:paper", args=[made.pk]))
    assert paper.content == bytes(made.pdf)
