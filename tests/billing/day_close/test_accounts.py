"""The accounts of a period agree with its documents and its day closes."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import openpyxl
import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from billing.day_close.accounts import accounts_of
from billing.day_close.actions import close_day
from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.invoices.payments import record_deposit
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db
DAY = till.TODAY


def traded():
    """Three days: a sale in cash, a deposit, a sale of another rate, a credit note."""
    make.shop(tax_rate=20)
    first = till.ready()
    with time_machine.travel(make.stamp(on=DAY).at, tick=False):
        paid = issue_invoice(
            first, stamp=make.stamp(on=DAY), paid=Decimal("70.80"), means="cash"
        )
        record_deposit(
            till.accepted().job,
            amount=Decimal(15),
            means="card",
            key=uuid4(),
            stamp=make.stamp(on=DAY),
        )
        close_day(
            day=DAY, opening=Decimal(50), counted=Decimal("120.80"),
            cash_removed=Decimal(0), why="", stamp=make.stamp(on=DAY),
        )  # fmt: skip
    later = DAY + timedelta(days=1)
    make.shop(tax_kind="zero")
    issue_invoice(till.ready(), stamp=make.stamp(on=later))
    issue_credit_note(paid, why="Wrong name.", stamp=make.stamp(on=later))
    return paid, later


def test_the_accounts_agree_with_documents_and_day_closes(client):
    _, later = traded()
    one_day, both = accounts_of(DAY, DAY), accounts_of(DAY, later)
    assert one_day.tax == [
        ("EUR", "S", 20, Decimal("59.00"), Decimal("11.80"), Decimal("70.80"), 1)
    ]
    # The credit note takes back what the first invoice charged.
    taxed, free = both.tax[0], both.tax[1]
    assert taxed[3:] == (0, 0, 0, 2) and free[1:] == ("Z", 0, 59, 0, 59, 1)
    cash = sum(row[5] for row in one_day.methods if row[1] == "cash")
    (close,) = one_day.closes
    assert cash == close[3] == Decimal("70.80")
    assert sum(row[8] for row in one_day.payments) == Decimal("85.80")
    assert [row[2] for row in one_day.deposits] == [15]
    assert not accounts_of(DAY - timedelta(days=9), DAY - timedelta(days=1)).sales


def test_they_are_sent_as_a_workbook(client):
    traded()
    client.force_login(make.user())
    days = {"since": DAY, "until": timezone.localdate()}
    page = client.get(reverse("day_close:accounts"), days)
    assert "59.00 EUR" in page.text and "70.80 EUR" in page.text
    file = client.get(reverse("day_close:accounts"), days | {"as": "xlsx"})
    book = openpyxl.load_workbook(BytesIO(file.content))
    assert book.sheetnames == list(accounts_of(DAY, DAY).sheets())
    nets = [row[9].value for row in book["Sales"].iter_rows(min_row=2)]
    assert sorted(nets) == [-59, 59, 59]
    wrong = client.get(
        reverse("day_close:accounts"), {"since": DAY, "until": "2020-01-01", "as": "x"}
    )
    assert "before the first" in wrong.text
