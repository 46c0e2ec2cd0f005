"""Bills on screen and on paper."""

from decimal import Decimal
from hashlib import sha256
from io import BytesIO
from uuid import uuid4

import pikepdf
import pytest
from django.urls import reverse

from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice, Payment
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.papers import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    return client


def text(pdf):
    return " ".join(text_of(pdf).split())


def paper(client, invoice):
    return client.get(reverse("invoices:paper", args=[invoice.pk])).content


def payment(amount, **facts):
    return {"amount": amount, "means": "card", "key": str(uuid4()), "way": "in"} | facts


def test_a_payment_is_taken_and_the_same_form_counts_once(desk):
    invoice = till.handed_over()
    form = payment("20")
    desk.post(invoice.get_absolute_url(), form)
    page = desk.post(invoice.get_absolute_url(), form, follow=True).content.decode()
    assert Payment.objects.get().amount == 20
    assert "€50.80" in page


@pytest.mark.parametrize(
    ("form", "said"),
    [
        (payment("70.81"), "The balance due is"),
        (payment("0"), "Enter an amount"),
        (payment("-0"), "Enter an amount"),
        (payment("-3"), "Enter at least 0"),
        (payment("1e5"), "such as 1234.50"),
        (payment("NaN"), "such as 1234.50"),
        (payment("1.000,50"), "such as 1234.50"),
        (payment("9" * 400), "such as 1234.50"),
        (payment("0.001"), "at most 2 decimal places"),
        (payment("5", means="shells"), "valid choice"),
        (payment("5", way="back"), "refund exceeds the credit"),
    ],
)
def test_a_payment_that_makes_no_sense_is_told_and_kept(desk, form, said):
    invoice = till.handed_over()
    page = desk.post(invoice.get_absolute_url(), form)
    text = page.content.decode()
    assert page.status_code == 200 and said in text and form["amount"] in text
    assert not Payment.objects.exists()


def test_crediting_asks_why_and_then_pays_back(desk):
    invoice = till.handed_over(paid=Decimal(40), means="card", key=uuid4())
    where = reverse("invoices:credit", args=[invoice.pk])
    assert "required" in desk.post(where, {"why": ""}).content.decode()
    page = desk.post(where, {"why": "Billed to the wrong person"}, follow=True)
    assert "CN26-00001" in page.content.decode() or "CN" in page.content.decode()
    again = desk.post(where, {"why": "once more"}).content.decode()
    assert "already fully credited" in again
    page = desk.get(invoice.get_absolute_url()).content.decode()
    assert "Refund due" in page and "refund due" in page
    desk.post(invoice.get_absolute_url(), payment("40", way="back"))
    assert Invoice.objects.get(kind="invoice").balance == 0


@pytest.mark.parametrize("n", [1, 8])
def test_the_list_asks_the_same_however_many_bills(desk, n, django_assert_num_queries):
    for _ in range(n):
        till.handed_over(with_part=False)
    # session, user, count, shop, bills
    with django_assert_num_queries(6):
        page = desk.get(reverse("invoices:all"))
    assert len(page.context["table"].rows) == n


@pytest.mark.parametrize(
    ("status", "shown"), [("open", 1), ("paid", 1), ("credited", 1), ("notes", 1)]
)
def test_the_list_is_narrowed(desk, status, shown):
    till.handed_over()
    till.handed_over(paid=Decimal("70.80"), means="cash", key=uuid4())
    issue_credit_note(till.handed_over(), why="no", stamp=make.stamp(on=till.TODAY))
    page = desk.get(reverse("invoices:all"), {"status": status})
    assert len(page.context["table"].rows) == shown


def test_the_paper_says_all_that_a_bill_must(desk):
    make.shop(name="Tallow & Finch", tax_id="GB 123")
    owner = make.customer(address="3 Mill Row", tax_id="GB 999")
    invoice = till.handed_over(
        of=make.device(owner=owner, serial="SN77"),
        paid=Decimal(40),
        means="card",
        key=uuid4(),
    )
    said = text(paper(desk, invoice))
    for words in (
        "Tax number GB 123",
        "Tax number GB 999",
        "INV26-00001",
        "3 Mill Row",
        "5 Mar 2026",
        "SN77",
        "Lasting mend, labour 1 €51.00 €51.00",
        "socket, 5 pin 2 €4.00 €8.00",
        "Subtotal excl. tax €59.00",
        "Tax 20 % €11.80",
        "Total €70.80",
        "card: €40.00. Balance due: €30.80",
    ):
        assert words in said, words


@pytest.mark.paper
def test_the_paper_is_kept_byte_for_byte(desk):
    invoice = till.handed_over()
    before = paper(desk, invoice)
    make.shop(name="Another name", paper="Letter")
    assert paper(desk, invoice) == before
    assert sha256(before).hexdigest() == invoice.pdf_sha256
    assert len(pikepdf.open(BytesIO(before)).pages) == 1


def test_a_credit_note_names_what_it_takes_back(desk):
    invoice = till.handed_over()
    note = issue_credit_note(
        invoice, why="Wrong person.", stamp=make.stamp(on=till.TODAY)
    )
    said = text(paper(desk, note))
    assert "credits all of invoice INV26-00001: Wrong person." in said
    assert "Total -€70.80" in said


def test_a_bill_of_nothing_says_there_is_nothing_to_pay(desk):
    invoice = issue_invoice(till.warranty_job(), stamp=make.stamp(on=till.TODAY))
    said = text(paper(desk, invoice))
    assert "Replace the socket, under warranty" in said and "No payment due." in said


def test_the_bench_does_not_see_bills(client):
    client.force_login(make.user(Role.BENCH))
    invoice = till.handed_over()
    for where in (
        reverse("invoices:all"),
        invoice.get_absolute_url(),
        reverse("invoices:paper", args=[invoice.pk]),
    ):
        assert client.get(where).status_code == 403
