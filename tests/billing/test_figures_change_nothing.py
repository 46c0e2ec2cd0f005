"""The shop's figures hold for new papers; what was sent or issued stays."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import models
from django.urls import reverse

from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice
from billing.quotes.models import Quote
from repairs.customers.models import Customer
from shopdesk.fields import FixedDecimalField
from shopdesk.shop import logo, tax
from shopdesk.shop.models import MarkupTier, Shop, TaxRate
from tests import make
from tests.billing import till
from tests.shopdesk.shop.pictures import drawn

pytestmark = pytest.mark.django_db

OTHER = {
    "country": "FR",
    "currency": "KWD",
    "locale": "fr_FR",
    "paper": "Letter",
    "tax_kind": tax.EXEMPT,
    "time_zone": "Asia/Tokyo",
    "invoice_series": "RE{yy}",
    "credit_series": "GS{yy}",
    "paper_language": "de",
    "max_comeback_risk": Decimal("0.2"),
    "verdict_confidence": Decimal("0.8"),
    "final_test_risk": Decimal("0.1"),
}
"""What could stand in a figure whose value is one of a few."""


def another(field, value):
    """A value that the field may have and has not."""
    if field.name in OTHER:
        return OTHER[field.name]
    if isinstance(field, models.BooleanField):
        return not value
    if isinstance(field, models.BinaryField):
        return logo.as_png(drawn())
    if isinstance(field, FixedDecimalField):
        return (value or Decimal(0)) + 5
    if isinstance(field, models.IntegerField):
        return (value or 0) + 5
    return "other@example.com" if "email" in field.name else f"Other {field.name}"


def figures():
    no_figures = {"id", "set_up_on", "clock_seen_at", "clock_doubted_since"}
    return [f for f in Shop._meta.get_fields() if f.name not in no_figures]


@pytest.fixture
def papers(client):
    """A sent quote, a bill, and a function that reads all that is said of them."""
    make.shop(name="Fern Lane", country="DE", tax_id="DE123456789", tax_rate=19)
    waiting = till.sent()
    job = till.ready()
    Customer.objects.filter(pk=job.customer_id).update(
        einvoice="ubl", country="DE", tax_id="DE987654321", address="Weg 1"
    )
    job.refresh_from_db()
    bill = issue_invoice(job, stamp=make.stamp(on=till.TODAY))
    client.force_login(make.user())
    files = [
        reverse("quotes:paper", args=[waiting.pk]),
        reverse("invoices:paper", args=[bill.pk]),
        reverse("invoices:ubl", args=[bill.pk]),
    ]

    def said():
        quote = Quote.objects.get(pk=waiting.pk)
        kept = Invoice.objects.get(pk=bill.pk)
        return {
            "files": [client.get(file).content for file in files],
            "hold": (quote.valid_until, quote.currency, quote.pdf_sha256),
            "offers": [o.totals() for o in quote.options.all()],
            "lines": list(kept.lines.values_list("price", "amount", "tax_rate")),
            "bill": (kept.full_number, kept.net, kept.tax, kept.gross, kept.currency),
            "sums": kept.totals(),
            "balance": kept.balance,
        }

    return said


def test_no_figure_of_the_shop_changes_what_was_sent_or_issued(papers):
    before = papers()
    assert all(file[:4] in (b"%PDF", b"<?xm") for file in before["files"])
    moved = {}
    for field in figures():
        value = getattr(Shop.objects.get(), field.name)
        new = another(field, value)
        assert new != value, field.name
        Shop.objects.update(**{field.name: new})
        after = papers()
        wrong = [name for name in before if before[name] != after[name]]
        if wrong:
            moved[field.name] = wrong
    # All of them have changed by now, each on top of the others.
    assert moved == {}


def test_no_rate_and_no_band_changes_what_was_sent_or_issued(papers):
    before = papers()
    for kind in tax.LABELS:
        percent = Decimal(33) if kind in tax.WITH_RATE else Decimal(0)
        TaxRate.objects.create(
            kind=kind, rate=percent, starts_on=date(2001, 1, 1), reason="Otherwise"
        )
    TaxRate.objects.filter(kind=tax.STANDARD).update(rate=Decimal(99))
    MarkupTier.objects.create(starts_at=Decimal("0.01"), percent=Decimal(500))
    assert papers() == before


def test_an_accepted_price_is_billed_as_it_was_accepted():
    """Whatever the shop charges by now: the yes was said to the old figures."""
    make.shop(tax_rate=19)
    quote = till.sent()
    job = till.mend(till.accept_online(quote).job)
    told = quote.options.first().totals()
    Shop.objects.update(
        hourly_rate=Decimal(500), markup=Decimal(900), prices_include_tax=True
    )
    Shop.objects.update(currency="JPY", diagnosis_fee=Decimal(99))
    bill = issue_invoice(job, stamp=make.stamp(on=till.TODAY))
    assert (bill.net, bill.tax, bill.gross) == (told.net, told.tax, told.gross)
    assert (bill.currency, bill.prices_include_tax) == ("EUR", False)
