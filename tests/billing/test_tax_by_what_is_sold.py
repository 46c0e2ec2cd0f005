"""The tax of labour, parts and fees differs, and every document agrees to the cent.

All amounts are worked out by hand: 45 minutes of labour are 51.00, two sockets 8.00.
"""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest

from billing.day_close.accounts import accounts_of
from billing.einvoice import factur_x
from billing.invoices import draft
from billing.invoices.crediting import issue_credit_note
from billing.invoices.einvoice_of import einvoice_file
from billing.invoices.issuing import issue_invoice
from billing.invoices.payments import record_deposit
from billing.quotes import sending
from billing.quotes.models import LineKind, QuoteLine
from billing.repair_form import actions as repair_forms
from repairs.jobs.diagnosis_fee import fee_with_tax
from shopdesk.errors import IncompleteError
from shopdesk.money import TaxedLine, totals
from shopdesk.shop import tax
from shopdesk.shop.models import Shop, TaxRate, TaxRule
from tests import make
from tests.billing import till
from tests.billing.einvoices import broken_rules, figures, wrong_sums
from tests.papers import text_of
from tests.sent_forms import typed_in

pytestmark = pytest.mark.django_db
D = Decimal
NOT_TAXED = "Repair labour is not taxed"


def stamp():
    return make.stamp(on=till.TODAY)


def rate(percent, kind=tax.STANDARD):
    starts_on = date(2020, 1, 1)
    TaxRate.objects.create(kind=kind, rate=D(percent), starts_on=starts_on)


def us_shop(**facts):
    rate("8.25")
    for sold in ("labour", "fee"):
        TaxRule.objects.create(sold=sold, kind=tax.EXEMPT, reason=NOT_TAXED)
    return make.shop(
        name="Marlbeck Repairs", country="US", currency="USD", tax_id="12-3456789",
        tax_name="Sales tax", address="1 Mill Row\nMarlbeck", **facts,
    )  # fmt: skip


def said(pdf):
    return " ".join(text_of(bytes(pdf)).split())


def amounts(invoice):
    return invoice.net, invoice.tax, invoice.gross


def check_einvoice(invoice, *, within=0):
    """Both e-invoices pass the official rules; return their tax groups."""
    lines = list(invoice.lines.all())
    for write in (factur_x.cii, factur_x.ubl):
        xml = einvoice_file(write, invoice, lines, shop=Shop.current())
        assert broken_rules(xml) == set()
        assert wrong_sums(xml, tax_within=within) == set()
        assert figures(xml)[0]["BT-112"] == abs(invoice.gross)
        groups = figures(xml)[3]
    return xml, [(g["category"], g["rate"], g["net"], g["tax"]) for g in groups]


@pytest.mark.once
def test_a_us_shop_charges_sales_tax_on_parts_only():
    """Labour 51.00 and fees 25.00 + 9.00 are exempt; 8.25 % of 8.00 is 0.66."""
    shop = us_shop(uses_repair_form=True)
    quote = till.sent(
        came_by="post", agreed_diagnosis_fee=D(25), of=make.device(make.customer())
    )
    option = quote.options.first()
    assert option.totals().gross == D("93.66")
    form = repair_forms.make(option, stamp=stamp())
    assert form.price == D("93.66")
    assert fee_with_tax(quote.job, on=till.TODAY, shop=shop).tax == 0
    assert NOT_TAXED in said(quote.pdf) and "$93.66" in said(quote.pdf)

    job = till.accept_online(quote, option=option).job
    job.refresh_from_db()
    record_deposit(job, amount=D(20), means="cash", key=uuid4(), stamp=stamp())
    invoice = issue_invoice(till.mend(job), stamp=stamp())
    assert amounts(invoice) == (D("93.00"), D("0.66"), D("93.66"))
    assert invoice.balance == D("73.66")
    paper = said(invoice.pdf)
    assert f"{NOT_TAXED}, on US$85.00 US$0.00" in paper
    assert "Sales tax 8.25 % on US$8.00 US$0.66" in paper
    assert "local rules" not in paper and "regulations" not in paper
    xml, groups = check_einvoice(invoice)
    assert groups == [("E", 0, 85, 0), ("S", D("8.25"), 8, D("0.66"))]
    assert NOT_TAXED.encode() in xml

    # One socket of two: 8.25 % of 4.00 is 0.33.
    socket = invoice.lines.get(kind=LineKind.PART)
    note = issue_credit_note(
        invoice, why="Not used.", quantities={socket.pk: D(1)}, stamp=stamp()
    )
    assert amounts(note) == (D("-4.00"), D("-0.33"), D("-4.33"))
    assert check_einvoice(note)[1] == [("S", D("8.25"), 4, D("0.33"))]
    assert accounts_of(till.TODAY, till.TODAY).tax == [
        ("USD", "E", 0, 85, 0, 85, 1),
        ("USD", "S", D("8.25"), D("4.00"), D("0.33"), D("4.33"), 2),
    ]


@pytest.mark.once
def test_a_german_shop_leaves_the_tax_to_a_business_abroad():
    rate(19)
    TaxRule.objects.create(buyer=tax.ABROAD, kind=tax.REVERSE)
    make.shop(
        name="Tallow & Finch", country="DE", tax_id="DE 123 456 789",
        address="3 Mill Row\n10115 Lower Marsh",
    )  # fmt: skip
    private = issue_invoice(till.ready(of=make.device(make.customer())), stamp=stamp())
    # 19 % of 59.00 is 11.21.
    assert amounts(private) == (D("59.00"), D("11.21"), D("70.21"))

    buyer = make.customer(
        "Bo Kestrel", company="Kestrel SARL", buyer_kind=tax.ABROAD, country="FR",
        address="1 Lock Lane\n75001 Underbridge",
    )  # fmt: skip
    draft = till.drafted(of=make.device(buyer))
    with pytest.raises(IncompleteError, match="needs the customer’s VAT number"):
        sending.send(draft, stamp=stamp())
    buyer.tax_id = "FR 12 345678901"
    buyer.save()
    quote = sending.send(draft, stamp=stamp())
    invoice = issue_invoice(till.mend(till.accept_online(quote).job), stamp=stamp())
    assert amounts(invoice) == (D("59.00"), D("0.00"), D("59.00"))
    paper = said(invoice.pdf)
    assert "Reverse charge" in paper and "FR 12 345678901" in paper
    assert "19 %" not in paper
    assert check_einvoice(invoice)[1] == [("AE", 0, 59, 0)]
    assert [row[1:6] for row in accounts_of(till.TODAY, till.TODAY).tax] == [
        ("AE", 0, 59, 0, 59),
        ("S", 19, 59, D("11.21"), D("70.21")),
    ]


@pytest.mark.once
@pytest.mark.parametrize(
    ("include", "expected", "reduced", "standard"),
    [
        # 51.00 − 5.10 = 45.90, 7 %: 3.213; 8.00 + 9.00 = 17.00, 19 %: 3.23.
        (False, ("62.90", "6.44", "69.34"), ("45.90", "3.21"), ("17.00", "3.23")),
        # 45.90 × 7/107 = 3.0028; 17.00 × 19/119 = 2.7143.
        (True, ("57.19", "5.71", "62.90"), ("42.90", "3.00"), ("14.29", "2.71")),
    ],
)
def test_two_rates_and_a_discount(include, expected, reduced, standard, monkeypatch):
    rate(19)
    rate(7, tax.REDUCED)
    TaxRule.objects.create(sold="labour", kind=tax.REDUCED)
    make.shop(
        name="Tallow & Finch", country="DE", tax_id="DE 123 456 789",
        prices_include_tax=include, target_margin=D(0),
    )  # fmt: skip
    agreed = draft.all_agreed

    def with_discount(quote):
        discount = QuoteLine(
            kind=LineKind.LABOUR, text="10 % off labour", quantity=D(-1),
            price=D("5.10"), tax_kind=tax.REDUCED, tax_rate=D(7),
        )  # fmt: skip
        return [*agreed(quote), discount]

    monkeypatch.setattr(draft, "all_agreed", with_discount)
    job = till.ready(came_by="post", of=make.device(make.customer()))
    invoice = issue_invoice(job, stamp=stamp())
    assert amounts(invoice) == tuple(D(one) for one in expected)
    groups = check_einvoice(invoice, within=D("0.01") if include else 0)[1]
    assert groups == [
        ("S", 7, D(reduced[0]), D(reduced[1])),
        ("S", 19, D(standard[0]), D(standard[1])),
    ]
    note = issue_credit_note(invoice, why="Wrong name.", stamp=stamp())
    assert amounts(note) == tuple(-D(one) for one in expected)
    assert {row[3:6] for row in accounts_of(till.TODAY, till.TODAY).tax} == {(0, 0, 0)}


def test_in_yen_tax_is_rounded_once_per_rate():
    """8 % of 433 + 433 is 69.28; rounded per line it would be 35 + 35 = 70."""
    ten = TaxedLine(D(1), D(5138), D(10))
    eight = TaxedLine(D(1), D(433), D(8))
    found = totals([ten, eight, eight], places=0)
    assert [(group.rate, group.tax) for group in found.groups] == [(8, 69), (10, 514)]
    assert found.gross == 5138 + 433 + 433 + 69 + 514


@pytest.mark.parametrize("include", [False, True])
def test_comebacks_are_covered_whatever_tax_a_price_includes(include):
    """The raise is in labour, so the margin before tax is the target's."""
    rate("8.25")
    TaxRule.objects.create(sold="labour", kind=tax.EXEMPT, reason=NOT_TAXED)
    make.shop(
        prices_include_tax=include, hourly_rate=D(30), hourly_cost=D(30),
        target_margin=D(20), rounding_step=D(0),
    )  # fmt: skip
    option = till.drafted().options.get(fix_type="lasting")
    assert option.is_raised
    cost = option.own_cost + option.comeback_allowance
    net = option.totals().net
    assert abs((net - cost) / net - D("0.2")) < D("0.001")


def test_a_new_line_is_taxed_by_what_it_sells(client):
    us_shop()
    client.force_login(make.user())
    quote = till.drafted()
    page = quote.get_absolute_url()
    option = quote.options.first()
    form = client.get(page)
    assert "by what is sold" in form.text
    for kind, expected in (("part", "8.25"), ("fee", "0")):
        new = {f"n{option.pk}-{name}": value for name, value in {
            "kind": kind, "text": f"one {kind}", "quantity": "1", "price": "10",
            "tax_kind": "",
        }.items()}  # fmt: skip
        client.post(page, typed_in(client.get(page)) | new)
        line = QuoteLine.objects.get(text=f"one {kind}")
        assert line.tax_rate == D(expected)
        assert line.tax_reason == ("" if line.tax_rate else NOT_TAXED)


def test_rules_about_customers_go_before_those_about_what_is_sold():
    rules = tax.TaxRules(
        tax.STANDARD,
        {tax.STANDARD: tax.Tax(tax.STANDARD, D(20))} | {
            kind: tax.DEFAULT_TAX[kind] for kind in (tax.EXEMPT, tax.ZERO, tax.REVERSE)
        },
        (
            tax.Rule(tax.EXEMPT, sold="labour", reason="Labour"),
            tax.Rule(tax.EXEMPT, buyer=tax.EXEMPT_BODY, reason="Charity"),
            tax.Rule(tax.ZERO, sold="part", buyer=tax.EXEMPT_BODY),
        ),
    )  # fmt: skip

    def found(sold, kind=tax.PRIVATE, own=""):
        one = rules.of(sold, tax.Buyer(kind, own))
        return one.kind, one.reason

    assert found("labour") == (tax.EXEMPT, "Labour")
    assert found("part") == (tax.STANDARD, "")
    assert found("labour", tax.EXEMPT_BODY) == (tax.EXEMPT, "Charity")
    assert found("part", tax.EXEMPT_BODY) == (tax.ZERO, "")
    assert found("part", tax.EXEMPT_BODY, tax.REVERSE)[0] == tax.REVERSE
    with pytest.raises(IncompleteError, match="no reduced rate"):
        found("part", own=tax.REDUCED)
