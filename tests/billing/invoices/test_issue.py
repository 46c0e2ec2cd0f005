"""A job is billed once, with a number that leaves no gap."""

import threading
from decimal import Decimal

import pytest
from django.db import connection, transaction
from django.db.utils import DatabaseError

from billing.handover.actions import hand_over
from billing.invoices import issuing
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice, InvoiceLine
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk import money
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Series
from tests import make
from tests.billing import till


def issue(job, **facts):
    return issue_invoice(job, stamp=make.stamp(on=till.TODAY), **facts)


@pytest.mark.django_db
def test_the_bill_is_what_was_agreed():
    customer = make.customer(company="Fenwick & Daughters", tax_id="GB 1")
    job = till.ready(of=make.device(owner=customer))
    invoice = issue(job)
    assert invoice.full_number == "INV26-00001"
    agreed = job.quotes.get().accepted_option
    same = ["kind", "text", "quantity", "price", "amount", "tax_kind", "tax_rate"]
    assert list(invoice.lines.values_list(*same)) == list(
        agreed.lines.values_list(*same)
    )
    assert (invoice.net, invoice.tax, invoice.gross) == (
        59,
        Decimal("11.80"),
        Decimal("70.80"),
    )
    assert invoice.buyer_name == "Fenwick & Daughters, Ada Fenwick"
    assert bytes(invoice.pdf)[:5] == b"%PDF-"


@pytest.mark.django_db
def test_the_buyer_stays_as_they_were():
    invoice = issue(till.ready())
    invoice.customer.name = "Ada Marlowe"
    invoice.customer.save()
    invoice.refresh_from_db()
    assert invoice.buyer_name == "Ada Fenwick"


@pytest.mark.django_db
def test_the_repair_learns_what_it_brought_in():
    job = till.ready()
    issue(job)
    assert job.repairs.get().charged == 59


@pytest.mark.django_db
def test_work_under_warranty_is_listed_and_costs_nothing():
    invoice = issue(till.warranty_job())
    assert invoice.gross == 0
    assert [line.text for line in invoice.lines.all()] == [
        "Replace the socket, under warranty"
    ]


@pytest.mark.django_db
@pytest.mark.parametrize(("fee", "gross"), [(Decimal(25), 30), (None, 0)])
def test_without_a_repair_only_the_fee_agreed_is_billed(fee, gross):
    job = till.diagnosed(agreed_diagnosis_fee=fee)
    workflow.close(
        job,
        outcome="no_fault_found",
        why="Ran clean for three days.",
        stamp=make.stamp(),
    )
    invoice = issue(job)
    assert invoice.gross == gross
    assert "no fault found" in invoice.lines.get().text


@pytest.mark.django_db
def test_a_job_that_is_not_done_is_not_billed():
    job = till.accepted().job
    job.refresh_from_db()
    with pytest.raises(RefusedError, match="is approved. It can be invoiced once"):
        issue(job)
    assert not Invoice.objects.exists() and not Series.objects.filter(last__gt=1)


@pytest.mark.django_db
def test_a_job_is_billed_once():
    job = till.ready()
    issue(job)
    with pytest.raises(RefusedError, match="already has an invoice"):
        issue(job)
    assert Series.objects.get(name="INV26").last == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    "where", ["invoice_paper", "_apply_deposits", "update_repair_revenue"]
)
def test_no_number_is_lost_where_something_fails_after_it_was_taken(monkeypatch, where):
    def fail(*args, **kwargs):
        assert Series.objects.get(name="INV26").last == 1  # the number was taken
        raise RuntimeError("the power went off")

    job = till.ready()
    with monkeypatch.context() as broken:
        broken.setattr(issuing, where, fail)
        with pytest.raises(RuntimeError):
            hand_over(job, version=None, stamp=make.stamp(on=till.TODAY))
    job.refresh_from_db()
    assert job.state == "ready" and not Invoice.objects.exists()
    assert not InvoiceLine.objects.exists()
    assert job.repairs.get().warranty_until is None
    assert issue(job).full_number == "INV26-00001"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("currency", "shown"), [("JPY", (59, 12, 71)), ("KWD", (59, "11.800", "70.800"))]
)
def test_the_sums_have_the_decimals_of_the_currency(currency, shown):
    make.shop(currency=currency)
    invoice = issue(till.ready())
    assert (invoice.net, invoice.tax, invoice.gross) == tuple(map(Decimal, shown))


@pytest.mark.django_db
def test_prices_that_include_tax_are_what_the_customer_pays():
    make.shop(prices_include_tax=True)
    invoice = issue(till.ready())
    assert invoice.gross == sum(line.amount for line in invoice.lines.all())
    assert invoice.tax == money.rounded(invoice.gross * 20 / 120)
    assert invoice.net == invoice.gross - invoice.tax


@pytest.mark.django_db
@pytest.mark.parametrize(
    "change",
    [
        lambda: Invoice.objects.update(buyer_name="Somebody else"),
        lambda: Invoice.objects.update(gross=1, net=1, tax=0),
        lambda: Invoice.objects.all()._raw_delete("default"),
        lambda: InvoiceLine.objects.update(price=Decimal(1)),
        lambda: InvoiceLine.objects.all()._raw_delete("default"),
    ],
)
def test_the_database_refuses_to_change_a_bill(change):
    invoice = issue(till.ready())
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        change()
    invoice.refresh_from_db()
    assert invoice.gross == Decimal("70.80") and invoice.lines.count() == 2


@pytest.mark.django_db(transaction=True)
def test_two_people_issuing_at_once_leave_no_gap():
    jobs = [till.ready() for _ in range(4)]
    start = threading.Barrier(len(jobs))
    failed = []

    def hand_over_together(pk):
        try:
            start.wait(timeout=20)
            job = Job.objects.get(pk=pk)
            hand_over(job, version=None, stamp=make.stamp(on=till.TODAY))
        except Exception as wrong:
            failed.append(wrong)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=hand_over_together, args=[job.pk]) for job in jobs
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert failed == []
    assert sorted(Invoice.objects.values_list("number", flat=True)) == [1, 2, 3, 4]


@pytest.mark.django_db(transaction=True)
def test_one_job_handed_over_by_two_at_once_is_billed_once():
    job = till.ready()
    start = threading.Barrier(2)
    got = []

    def hand_over_together():
        try:
            start.wait(timeout=20)
            fresh = Job.objects.get(pk=job.pk)
            got.append(hand_over(fresh, version=None, stamp=make.stamp(on=till.TODAY)))
        finally:
            connection.close()

    threads = [threading.Thread(target=hand_over_together) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert Invoice.objects.count() == 1
    assert sorted(invoice is None for invoice in got) == [False, True]
