"""Cash where the smallest coins are gone; card and transfer are never rounded."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from billing.einvoice import factur_x
from billing.invoices.coins import CashRoundingError, pay_in_coins, round_to_coins
from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Payment
from billing.invoices.payments import record_payment
from billing.quotes.sending import send
from shopdesk.errors import RefusedError
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.einvoices import bill, broken_rules, figures, wrong_sums

D = Decimal
STEP = D("0.05")


@pytest.mark.parametrize(
    ("left", "cash"),
    # Swedish rounding to 0.05, by hand: the nearest, halves away from nothing.
    [("70.82", "70.80"), ("70.83", "70.85"), ("70.875", "70.90"), ("0.02", "0"),
     ("0.03", "0.05"), ("-12.03", "-12.05"), ("-12.02", "-12.00")],
)  # fmt: skip
def test_the_nearest_coin(left, cash):
    assert round_to_coins(D(left), step=STEP, places=2) == D(cash)
    paid = pay_in_coins(D(left), due=D(left), step=STEP, places=2)
    assert paid.amount == D(cash) and paid.amount + paid.rounding == D(left)


@given(
    st.integers(-(10**9), 10**9).filter(bool),
    st.sampled_from(
        [(0, D(5)), (0, D(10)), (2, STEP), (2, D("0.10")), (3, D("0.005"))]
    ),
)
def test_whoever_pays_all_in_cash_owes_nothing_and_is_out_by_half_a_step(n, currency):
    places, step = currency
    left = D(n).scaleb(-places)
    for amount in (left, round_to_coins(left, step=step, places=places)):
        if amount:
            paid = pay_in_coins(amount, due=left, step=step, places=places)
            assert paid.amount % step == 0 and abs(paid.rounding) * 2 <= step
            assert paid.amount + paid.rounding == left


def test_a_part_must_be_in_coins_and_is_not_rounded():
    assert pay_in_coins(D(20), due=D("70.83"), step=STEP, places=2).rounding == 0
    with pytest.raises(CashRoundingError):
        pay_in_coins(D("20.01"), due=D("70.83"), step=STEP, places=2)


def pay(invoice, amount, means="cash"):
    return record_payment(
        invoice,
        amount=D(amount),
        means=means,
        key=uuid4(),
        stamp=make.stamp(on=till.TODAY),
    )


@pytest.fixture
def invoice(db):
    """70.81 with tax: 59.01 before it."""
    make.shop(cash_step=STEP, currency="CHF", tax_rate=D(20))
    quote = till.drafted()
    line = quote.options.first().lines.first()
    line.price = D("51.01")
    line.calculate(places=2)
    line.save()
    quote.options.update(price_reason="To be rounded.")
    job = till.mend(
        till.accept_online(send(quote, stamp=make.stamp(on=till.TODAY))).job
    )
    return issue_invoice(job, stamp=make.stamp(on=till.TODAY))


def test_cash_settles_the_bill_with_a_rounding_of_its_own(invoice):
    assert invoice.gross == D("70.81")
    paid = pay(invoice, "70.81")
    assert (paid.amount, paid.rounding) == (D("70.80"), D("0.01"))
    assert invoice.balance == 0


def test_cash_in_parts_is_rounded_with_the_last_part_only(invoice):
    assert pay(invoice, 20).rounding == 0
    with pytest.raises(RefusedError, match="multiples of CHF0.05. The nearest is"):
        pay(invoice, "20.01")
    with pytest.raises(RefusedError, match="due is CHF50.81"):
        pay(invoice, "50.85")
    pay(invoice, "50.80")
    assert invoice.balance == 0 and Payment.objects.count() == 2


@pytest.mark.parametrize("means", ["card", "transfer"])
def test_a_card_is_never_rounded(invoice, means):
    pay(invoice, "70.80", means)
    assert invoice.balance == D("0.01")
    # What is too little for any coin is let go when it is paid in cash.
    last = pay(invoice, "0.01")
    assert (last.amount, last.rounding) == (0, D("0.01")) and invoice.balance == 0


def test_money_back_is_rounded_too(invoice):
    pay(invoice, "70.81", "card")
    issue_credit_note(invoice, why="no", stamp=make.stamp(on=till.TODAY))
    back = pay(invoice, "-70.81")
    assert (back.amount, back.rounding) == (D("-70.80"), D("-0.01"))
    assert invoice.balance == 0


def test_the_form_says_what_it_comes_to_in_cash(client, invoice):
    client.force_login(make.user(Role.COUNTER))
    page = client.get(invoice.get_absolute_url()).content.decode()
    assert "In cash: CHF70.80" in page
    told = {"amount": "70.81", "means": "cash", "key": str(uuid4()), "way": "in"}
    page = client.post(invoice.get_absolute_url(), told, follow=True).content.decode()
    assert "Cash rounding applied: it settles CHF70.81" in page
    assert "settles CHF70.81" in page


@pytest.mark.django_db
def test_a_bill_paid_in_cash_as_it_is_issued_tells_its_rounding(client):
    make.shop(
        name="Tallow & Finch", country="CH", tax_id="CHE-123.456.789 MWST",
        cash_step=STEP, currency="CHF", tax_rate=D("7.7"),
    )  # fmt: skip
    owner = make.customer(einvoice="ubl", address="3 Mill Row")
    made = till.handed_over(
        of=make.device(owner=owner), paid=D("63.54"), means="cash", key=uuid4()
    )
    assert made.gross == D("63.54") and made.balance == 0
    assert (made.paid_with_it, made.rounding) == (D("63.55"), D("-0.01"))
    xml = bytes(made.ubl.file)
    assert b'PayableRoundingAmount currencyID="CHF">0.01<' in xml
    assert broken_rules(xml) == set()
    client.force_login(make.user(Role.COUNTER))
    assert client.get(reverse("invoices:paper", args=[made.pk])).status_code == 200


@pytest.mark.parametrize("write", [factur_x.cii, factur_x.ubl])
def test_the_rounding_is_a_term_of_the_standard(write):
    """129.10 asked, 129.15 taken: BT-114 is 0.05 and nothing is left."""
    xml = write(bill(paid=D("129.15"), rounding=D("0.05"), means="cash"))
    whole = figures(xml)[0]
    assert (whole["BT-113"], whole["BT-115"]) == (D("129.15"), 0)
    assert broken_rules(xml) == set()
    assert wrong_sums(xml) == set()
