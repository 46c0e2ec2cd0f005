"""E-invoices by the shop's own figures: every kind of tax, through the desk's screens.

Each bill, its part taken back and the rest go through the official rules and ours.
"""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import facturx
import pytest
from django.urls import reverse

from billing.invoices import draft
from billing.invoices.crediting import issue_credit_note
from billing.invoices.models import Invoice
from billing.invoices.payments import record_deposit
from billing.quotes.models import LineKind, QuoteLine
from billing.quotes.sending import send
from shopdesk import money
from shopdesk.errors import RefusedError
from shopdesk.shop import tax
from shopdesk.shop.models import TaxRate
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.einvoices import broken_rules, figures, wrong_sums

pytestmark = [pytest.mark.django_db, pytest.mark.once]
D = Decimal
LONG_AGO = date(1990, 1, 1)
GROUPS = {
    tax.STANDARD: ("S", 19),
    tax.REDUCED: ("S", 7),
    tax.ZERO: ("Z", 0),
    tax.EXEMPT: ("E", 0),
    tax.REVERSE: ("AE", 0),
    tax.OUTSIDE: ("O", 0),
}
forms = pytest.mark.parametrize("form", ["pdf", "ubl"])


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    return client


def shop(**facts):
    for kind, rate in ((tax.STANDARD, 19), (tax.REDUCED, 7)):
        TaxRate.objects.create(kind=kind, rate=D(rate), starts_on=LONG_AGO)
    reason = "Small business, no VAT charged"
    TaxRate.objects.create(kind=tax.EXEMPT, starts_on=LONG_AGO, reason=reason)
    make.shop(name="Tallow & Finch", country="DE", tax_id="DE 123 456 789", **facts)


def owner(form, **facts):
    return make.customer(
        name="Ada Fenwick", einvoice=form, address="1 Lock Lane\n75001 Underbridge",
        country="FR", tax_id="FR 12 345678901", **facts,
    )  # fmt: skip


def handed_over(desk, job, amount="", means=""):
    """The bill that the desk makes by handing back."""
    told = {"amount": amount, "means": means, "key": str(uuid4()), "how": "counter"}
    told["version"] = job.version
    answer = desk.post(reverse("handover:hand_over", args=[job.pk]), told)
    assert answer.status_code == 302, answer.content.decode()
    return Invoice.objects.get(job=job, kind="invoice")


def read(desk, invoice, form):
    """The e-invoice as the customer gets it from the desk's pages."""
    if form == "ubl":
        return desk.get(reverse("invoices:ubl", args=[invoice.pk])).content
    pdf = desk.get(reverse("invoices:paper", args=[invoice.pk])).content
    return facturx.get_xml_from_pdf(pdf, check_xsd=True, check_schematron=False)[1]


def credited(desk, invoice, **back):
    where = reverse("invoices:credit", args=[invoice.pk])
    told = {"why": "Not used."} | back
    assert desk.post(where, told).status_code == 302
    return Invoice.objects.filter(credits=invoice).order_by("id").last()


def check(desk, invoice, form, *, within=0):
    xml = read(desk, invoice, form)
    assert broken_rules(xml) == set()
    assert wrong_sums(xml, tax_within=D(within)) == set()
    assert figures(xml)[0]["BT-112"] == abs(invoice.gross)
    return xml


@forms
@pytest.mark.parametrize("whose", ["shop", "customer"])
@pytest.mark.parametrize("include", [False, True])
@pytest.mark.parametrize("kind", GROUPS)
def test_every_kind_of_tax_with_its_credit_notes(desk, kind, include, whose, form):
    facts = {"tax_kind": kind}
    shop(prices_include_tax=include, **(facts if whose == "shop" else {}))
    who = owner(form, **(facts if whose == "customer" else {}))
    job = till.ready(of=make.device(owner=who))
    invoice = handed_over(desk, job, "20", "card")
    within = "0.01" if include else 0
    xml = check(desk, invoice, form, within=within)
    [group] = figures(xml)[3]
    assert (group["category"], group["rate"]) == GROUPS[kind]
    assert figures(xml)[0]["BT-113"] == 20
    if kind == tax.EXEMPT:
        assert b"Small business, no VAT charged" in xml
    socket = invoice.lines.get(text__contains="socket")
    others = {f"line{line.pk}": "0" for line in invoice.lines.exclude(pk=socket.pk)}
    part = credited(desk, invoice, **{f"line{socket.pk}": "1"}, **others)
    check(desk, part, form, within="0.01")
    rest = credited(desk, invoice)
    check(desk, rest, form, within="0.01")
    assert part.gross + rest.gross == -invoice.gross


@forms
@pytest.mark.parametrize("include", [False, True])
def test_a_reduced_rate_beside_the_standard_one(desk, include, form):
    shop(prices_include_tax=include)
    quote = till.drafted(of=make.device(owner=owner(form)))
    part = quote.options.first().lines.get(kind=LineKind.PART)
    part.set_tax(tax.Tax(tax.REDUCED, D(7)))
    part.save()
    quote = send(quote, stamp=make.stamp(on=till.TODAY))
    invoice = handed_over(desk, till.mend(till.accept_online(quote).job))
    xml = check(desk, invoice, form, within="0.01" if include else 0)
    assert {group["rate"] for group in figures(xml)[3]} == {7, 19}
    check(desk, credited(desk, invoice), form, within="0.01")


@forms
def test_a_deposit_is_what_was_paid_before(desk, form):
    """51.00 + 8.00 at 19 % is 70.21; 30 before and 20 now leave 20.21."""
    shop()
    job = till.accepted(of=make.device(owner=owner(form))).job
    job.refresh_from_db()
    record_deposit(
        job, amount=D(30), means="cash", key=uuid4(), stamp=make.stamp(on=till.TODAY),
    )  # fmt: skip
    xml = check(desk, handed_over(desk, till.mend(job), "20", "card"), form)
    whole = figures(xml)[0]
    assert (whole["BT-112"], whole["BT-113"]) == (D("70.21"), 50)
    assert whole["BT-115"] == D("20.21")


@forms
def test_a_fee_that_comes_off_is_taken_back_with_the_bill(desk, form, monkeypatch):
    """51.00 + 8.00 − 25.00 is 34.00; 19 % of it is 6.46."""
    shop()
    agreed = draft.all_agreed

    def with_fee_off(quote):
        off = QuoteLine(
            kind=LineKind.FEE, text="Fee for finding the fault, comes off",
            quantity=D(-1), price=D(25), tax_kind=tax.STANDARD, tax_rate=D(19),
        )  # fmt: skip
        return [*agreed(quote), off]

    monkeypatch.setattr(draft, "all_agreed", with_fee_off)
    invoice = handed_over(desk, till.ready(of=make.device(owner=owner(form))))
    assert (invoice.net, invoice.gross) == (34, D("40.46"))
    assert invoice.job.repairs.get().charged == 34
    check(desk, invoice, form)
    # What lowers the bill can't be left standing alone.
    *others, off = invoice.lines.all()
    with pytest.raises(RefusedError, match="Also credit the lines that reduce it"):
        issue_credit_note(
            invoice, why="no", quantities={line.pk: line.quantity for line in others},
            stamp=make.stamp(on=till.TODAY),
        )  # fmt: skip
    check(desk, credited(desk, invoice, **{f"line{off.pk}": "0"} | {
        f"line{line.pk}": "0" for line in others[:-1]
    } | {f"line{others[-1].pk}": "1"}), form)  # fmt: skip
    check(desk, credited(desk, invoice), form)
    assert invoice.balance == 0


@forms
def test_the_rate_of_the_day_of_supply_holds_and_the_till_says_so(desk, form):
    shop()
    job = till.ready(of=make.device(owner=owner(form)))
    TaxRate.objects.create(kind=tax.STANDARD, rate=D(16), starts_on=till.TODAY)
    page = desk.get(reverse("handover:hand_over", args=[job.pk])).content.decode()
    assert "The tax rate has changed since the quote" in page
    assert "19 % in the quote, 16 % now" in page
    invoice = handed_over(desk, job)
    assert (invoice.net, invoice.gross) == (59, D("68.44"))
    check(desk, invoice, form)


def test_prices_with_tax_keep_what_the_customer_pays_when_the_rate_changes(desk):
    shop(prices_include_tax=True)
    job = till.ready()
    TaxRate.objects.create(kind=tax.STANDARD, rate=D(16), starts_on=till.TODAY)
    page = desk.get(reverse("handover:hand_over", args=[job.pk])).content.decode()
    assert "prices including tax stay the same" in page
    invoice = handed_over(desk, job)
    agreed = sum(line.amount for line in job.quotes.get().accepted_option.lines.all())
    assert invoice.gross == agreed
    assert invoice.tax == money.rounded(agreed * 16 / 116)
    assert {line.tax_rate for line in invoice.lines.all()} == {16}
