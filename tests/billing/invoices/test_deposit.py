"""Money on a job before its bill: taken once, with a receipt, used up, paid back."""

from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import pikepdf
import pytest
from django.db import transaction
from django.db.utils import DatabaseError
from django.urls import reverse

from billing.einvoice.en16931 import Party
from billing.handover.actions import hand_over
from billing.invoices.balance import balance_of
from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice, Payment, Receipt
from billing.invoices.payments import record_deposit, store_receipt
from repairs.jobs import workflow
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Series
from shopdesk.staff.models import Role
from tests import make
from tests.at_once import all_at_once
from tests.billing import till

pytestmark = pytest.mark.django_db
D = Decimal


def deposit(job, amount, *, key=None, means="cash", on=till.TODAY):
    return record_deposit(
        job,
        amount=D(amount),
        means=means,
        key=key or uuid4(),
        stamp=make.stamp(on=on),
    )


def issue(job, **facts):
    return issue_invoice(job, stamp=make.stamp(on=till.TODAY), **facts)


def agreed():
    job = till.accepted().job
    job.refresh_from_db()
    return job


def test_a_deposit_stands_on_the_job_with_its_receipt():
    job = agreed()
    made = deposit(job, 30)
    assert made.invoice is None and made.receipt.full_number == "R26-00001"
    balance = balance_of(job)
    assert (balance.deposit, balance.paid, balance.owed) == (30, 30, 0)
    assert not balance.is_invoiced


def test_the_same_form_twice_is_one_deposit_and_one_receipt():
    job, key = agreed(), uuid4()
    assert deposit(job, 30, key=key) == deposit(job, 30, key=key)
    assert Payment.objects.count() == Receipt.objects.count() == 1
    with pytest.raises(RefusedError, match="already used"):
        deposit(agreed(), 30, key=key)


def test_the_bill_uses_the_deposit_up():
    job = agreed()
    deposit(job, 30)
    till.mend(job)
    invoice = issue(job, paid=D("40.80"), means="card", key=uuid4())
    assert (invoice.gross, invoice.deposits_used) == (D("70.80"), 30)
    assert invoice.balance == 0
    balance = balance_of(job)
    assert (balance.deposit, balance.paid, balance.owed) == (0, D("70.80"), 0)
    moved = Payment.objects.filter(means="moved")
    assert sum(one.amount for one in moved) == 0 and len(moved) == 2


def test_a_deposit_above_the_price_agreed_is_refused_with_what_may_be_taken():
    make.shop(currency="EUR")
    job = agreed()
    deposit(job, 30)
    with pytest.raises(RefusedError, match="is €70.80, and €30.00 is already held"):
        deposit(job, 41)
    assert balance_of(job).deposit == 30 and Payment.objects.count() == 1


def test_what_the_bill_does_not_need_is_owed_and_paid_back():
    job = till.diagnosed(agreed_diagnosis_fee=D(25))
    deposit(job, 50)
    workflow.close(
        job,
        outcome="no_fault_found",
        why="Ran clean for three days.",
        stamp=make.stamp(),
    )
    invoice = issue(job)
    assert (invoice.gross, invoice.deposits_used, invoice.balance) == (30, 30, 0)
    assert balance_of(job).owed == -20
    with pytest.raises(RefusedError, match="deposit held is €20.00"):
        deposit(job, -21)
    deposit(job, -20)
    assert balance_of(job).owed == 0
    with pytest.raises(RefusedError, match="no deposit to refund"):
        deposit(job, -1)


def test_a_customer_who_thinks_better_of_it_gets_the_deposit_back():
    job = agreed()
    deposit(job, 30)
    back = deposit(job, -30, means="card")
    assert balance_of(job).deposit == 0 and back.receipt.number == 2


def test_a_job_that_is_billed_takes_no_deposit():
    job = till.ready()
    issue(job)
    with pytest.raises(RefusedError, match="already has an invoice"):
        deposit(job, 5)
    job = till.warranty_job()
    with pytest.raises(RefusedError, match="warranty repair free of charge"):
        deposit(job, 5)
    assert not Payment.objects.exists() and not Receipt.objects.exists()


def test_a_bill_that_takes_the_place_of_another_takes_its_money_over():
    job = agreed()
    deposit(job, 30)
    till.mend(job)
    first = issue(job, paid=D("40.80"), means="card", key=uuid4())
    issue_credit_note(first, why="Wrong buyer.", stamp=make.stamp(on=till.TODAY))
    assert balance_of(job).owed == D("-70.80") and first.balance == D("-70.80")
    buyer = Party("Fenwick & Daughters", "3 Mill Row", "GB", "GB 1")
    second = issue(job, buyer=buyer)
    assert second.full_number == "INV26-00002"
    assert second.buyer_name == "Fenwick & Daughters"
    assert (second.deposits_used, second.balance, first.balance) == (D("70.80"), 0, 0)
    assert balance_of(job).owed == 0
    assert job.repairs.get().charged == 59


@pytest.mark.paper
def test_the_receipt_is_a_paper_for_everybody():
    receipt = deposit(agreed(), 30).receipt
    with pikepdf.open(BytesIO(bytes(receipt.pdf))) as pdf:
        assert len(pdf.pages) == 1 and pdf.Root.MarkInfo.Marked
        assert b"pdfuaid:part" in pdf.Root.Metadata.read_bytes()


def test_a_payment_on_a_bill_gets_a_receipt_when_it_is_asked_for():
    invoice = till.handed_over(paid=D(20), means="card", key=uuid4())
    payment = invoice.payments.get()
    made = store_receipt(payment, stamp=make.stamp())
    assert store_receipt(payment, stamp=make.stamp()) == made


@pytest.mark.parametrize(
    "change",
    [
        lambda: Receipt.objects.update(number=9),
        lambda: Receipt.objects.all()._raw_delete("default"),
        lambda: Payment.objects.update(invoice=None, amount=D(1)),
    ],
)
def test_the_database_refuses_to_change_what_was_taken(change):
    deposit(agreed(), 30)
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        change()
    assert Receipt.objects.get().number == 1 and Payment.objects.get().amount == 30


@pytest.mark.django_db(transaction=True)
def test_deposits_bills_and_credit_notes_at_once_leave_no_gap():
    paying = [agreed() for _ in range(3)]
    leaving = [till.ready() for _ in range(3)]
    credited = [till.handed_over() for _ in range(3)]

    def give_back(job):
        return hand_over(job, version=None, stamp=make.stamp(on=till.TODAY))

    def credit(invoice):
        return issue_credit_note(invoice, why="no", stamp=make.stamp(on=till.TODAY))

    acts = [
        *(lambda job=job: deposit(job, 10) for job in paying),
        *(lambda job=job: give_back(job) for job in leaving),
        *(lambda invoice=invoice: credit(invoice) for invoice in credited),
    ]
    assert all_at_once(*acts) == []
    bills = Invoice.objects.filter(kind="invoice").values_list("number", flat=True)
    notes = Invoice.objects.filter(kind="credit").values_list("number", flat=True)
    assert sorted(bills) == [1, 2, 3, 4, 5, 6]
    assert sorted(notes) == [1, 2, 3]
    assert sorted(Receipt.objects.values_list("number", flat=True)) == [1, 2, 3]


def test_no_number_of_a_receipt_is_lost_where_it_fails(monkeypatch):
    def fail(*args, **kwargs):
        raise RuntimeError("the power went off")

    job = agreed()
    with monkeypatch.context() as broken:
        broken.setattr("billing.invoices.payments.receipt_paper", fail)
        with pytest.raises(RuntimeError):
            deposit(job, 30)
    assert not Payment.objects.exists() and balance_of(job).deposit == 0
    assert not Series.objects.filter(name="receipt 2026").exists()
    assert deposit(job, 30).receipt.number == 1


# --- on the screen --------------------------------------------------------------------


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    return client


def form(amount, way="in", **facts):
    named = {"amount": amount, "means": "card", "key": str(uuid4())} | facts
    return {f"{way}-{name}": value for name, value in named.items()} | {"way": way}


def test_the_desk_takes_a_deposit_and_reads_what_is_here(desk):
    job = agreed()
    where = reverse("invoices:for_job", args=[job.pk])
    page = desk.post(where, form("30,00"), follow=True).content.decode()
    assert "Receipt R26-00001 is below" in page and "Deposit held" in page
    assert "Agreed price" in page and "€70.80" in page
    paper = desk.get(reverse("invoices:receipt", args=[Payment.objects.get().pk]))
    assert paper["Content-Type"] == "application/pdf"
    page = desk.post(where, form("30", way="back"), follow=True).content.decode()
    assert "refunded, card. Receipt R26-00002" in page
    assert balance_of(job).deposit == 0


@pytest.mark.parametrize("way", ["in", "back"])
@pytest.mark.parametrize(
    ("amount", "said"),
    [
        ("1e5", "such as 1234.50"),
        ("NaN", "such as 1234.50"),
        ("1.000,50", "such as 1234.50"),
        ("-0", "Enter an amount"),
        ("9" * 400, "such as 1234.50"),
        ("0.001", "at most 2 decimal places"),
        ("60", None),
    ],
)
def test_a_deposit_that_makes_no_sense_is_told_and_kept(desk, way, amount, said):
    job = agreed()
    deposit(job, 30)
    said = said or {"in": "The agreed price is", "back": "deposit held is €30.00"}[way]
    where = reverse("invoices:for_job", args=[job.pk])
    page = desk.post(where, form(amount, way=way))
    assert page.status_code == 200
    assert said in page.content.decode() and amount in page.content.decode()
    assert balance_of(job).deposit == 30 and Payment.objects.count() == 1


def test_handing_back_asks_only_for_what_is_left(desk):
    job = agreed()
    deposit(job, 30)
    till.mend(job)
    where = reverse("handover:hand_over", args=[job.pk])
    page = desk.get(where).content.decode()
    assert "Already paid" in page and "40.80" in page
    told = {"amount": "40.81", "means": "card", "key": str(uuid4()), "how": "counter"}
    told["version"] = job.version
    assert "balance due is €40.80" in desk.post(where, told).content.decode()
    desk.post(where, told | {"amount": "40.80"})
    assert Invoice.objects.get().balance == 0


def test_a_job_whose_bill_was_taken_back_is_billed_again_to_somebody_else(desk):
    invoice = till.handed_over()
    again = reverse("invoices:create", args=[invoice.job_id])
    refused = desk.get(again, follow=True).content.decode()
    assert "already has an invoice" in refused
    issue_credit_note(invoice, why="no", stamp=make.stamp(on=till.TODAY))
    told = {"name": "Hollis Ltd", "address": "1 Lock Lane", "country": "FR"}
    wrong = desk.post(again, told | {"name": "", "country": "ZZ"}).content.decode()
    assert "required" in wrong and "valid choice" in wrong and "1 Lock Lane" in wrong
    page = desk.post(again, told, follow=True).content.decode()
    assert "INV26-00002" in page and "Hollis Ltd" in page


def test_a_job_that_is_not_done_is_not_billed_by_its_address(desk):
    job = agreed()
    page = desk.get(reverse("invoices:create", args=[job.pk]), follow=True)
    assert "can be invoiced once the work is done" in page.content.decode()
    assert not Invoice.objects.exists()


def test_the_bench_does_not_see_the_money_of_a_job(client):
    client.force_login(make.user(Role.BENCH))
    job = agreed()
    assert client.get(reverse("invoices:for_job", args=[job.pk])).status_code == 403
