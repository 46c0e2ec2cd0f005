"""A bill is taken back in parts, which add up to it to the last cent."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from billing.einvoice import factur_x
from billing.invoices.credit_sums import credit_sums
from billing.invoices.crediting import issue_credit_note
from billing.invoices.einvoice_of import einvoice_file
from billing.invoices.models import Invoice
from billing.invoices.payments import record_payment
from shopdesk import money
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.einvoices import broken_rules, figures, wrong_sums

D = Decimal


def credit(invoice, quantities=None):
    return issue_credit_note(
        invoice, why="Too much.", quantities=quantities, stamp=make.stamp(on=till.TODAY)
    )


def test_what_is_taken_back_is_as_calculated_by_hand():
    """Two sockets at 4.00 and 51.00 of labour, 20 %: one socket is 4.00 and 0.80."""
    stood = [money.TaxedLine(D(1), D(51), D(20)), money.TaxedLine(D(2), D(4), D(20))]
    found = credit_sums(stood, back=[D(0), D(1)], places=2, prices_include_tax=False)
    assert (found.net, found.tax, found.gross) == (-4, D("-0.80"), D("-4.80"))
    assert found.lines == (-4,)


sold = st.builds(
    money.TaxedLine,
    st.integers(1, 40).map(lambda n: D(n) / 4),
    st.integers(0, 10**7).map(lambda n: D(n) / 10**4),
    st.sampled_from([D(0), D(5), D("7.7"), D(19), D(20)]),
)


@given(
    st.lists(sold, min_size=1, max_size=6),
    st.lists(st.lists(st.integers(0, 4), min_size=6, max_size=6), max_size=5),
    st.sampled_from([0, 2, 3]),
    st.booleans(),
)
def test_any_parts_add_up_to_the_whole_and_none_gives_anything(
    lines, shares, places, include
):
    """Any number of notes, the last of which takes the rest, in any currency."""
    how = {"places": places, "prices_include_tax": include}
    whole = money.totals(lines, **how)
    stands, notes = list(lines), []
    for share in [*shares, [4] * 6]:
        back = [
            line.quantity * part / 4 for line, part in zip(stands, share, strict=False)
        ]
        if any(back):
            notes.append(credit_sums(stands, back=back, **how))
        stands = [
            money.TaxedLine(line.quantity - gone, line.price, line.rate, line.category)
            for line, gone in zip(stands, back, strict=True)
        ]
    assert sum(note.gross for note in notes) == -whole.gross
    assert sum(note.tax for note in notes) == -whole.tax
    assert sum(note.net for note in notes) == -whole.net
    for note in notes:
        assert note.net <= 0 and note.tax <= 0 and note.gross == note.net + note.tax
        assert sum(group.net for group in note.groups) == note.net
        assert sum(group.tax for group in note.groups) == note.tax
        for group in note.groups:
            if not include:
                exact = money.rounded(group.net * group.rate / 100, places=places)
                assert abs(exact - group.tax) <= D(1).scaleb(-places)


@pytest.mark.django_db
def test_a_part_is_taken_back_and_then_the_rest():
    invoice = till.handed_over()
    socket = invoice.lines.get(text__contains="socket")
    part = credit(invoice, {socket.pk: D(1)})
    assert (part.gross, part.is_whole) == (D("-4.80"), False)
    assert invoice.balance == D("66.00")
    assert invoice.job.repairs.get().charged == 55
    rest = credit(invoice)
    assert (rest.gross, rest.is_whole) == (D("-66.00"), True)
    assert [(line.text, line.quantity) for line in rest.lines.all()] == [
        ("Lasting mend, labour", -1),
        (socket.text, -1),
    ]
    assert invoice.balance == 0 and invoice.job.repairs.get().charged == 0
    with pytest.raises(RefusedError, match="already fully credited"):
        credit(invoice)


@pytest.mark.django_db
@pytest.mark.parametrize("quantity", [D(3), D(-1), D("2.0001")])
def test_no_more_of_a_line_is_taken_back_than_was_billed(quantity):
    invoice = till.handed_over()
    socket = invoice.lines.get(text__contains="socket")
    with pytest.raises(RefusedError, match="At most 2 of"):
        credit(invoice, {socket.pk: quantity})
    credit(invoice, {socket.pk: D(2)})
    with pytest.raises(RefusedError, match="At most 0 of"):
        credit(invoice, {socket.pk: D(1)})
    with pytest.raises(RefusedError, match="the quantity to credit"):
        credit(invoice, {socket.pk: D(0)})
    assert Invoice.objects.count() == 2 and invoice.balance == D("61.20")


@pytest.mark.django_db
def test_what_was_paid_too_much_by_a_part_taken_back_is_paid_back_and_no_more():
    invoice = till.handed_over(paid=D("70.80"), means="card", key=uuid4())
    socket = invoice.lines.get(text__contains="socket")
    credit(invoice, {socket.pk: D(1)})
    shown = Invoice.objects.for_list().get(pk=invoice.pk)
    assert shown.status == "refund due" and invoice.balance == D("-4.80")

    def pay(amount):
        return record_payment(
            invoice,
            amount=D(amount),
            means="card",
            key=uuid4(),
            stamp=make.stamp(on=till.TODAY),
        )

    with pytest.raises(RefusedError, match="refund exceeds the credit"):
        pay("-4.81")
    pay("-4.80")
    assert invoice.balance == 0


@pytest.mark.django_db
@pytest.mark.parametrize("form", ["pdf", "ubl"])
@pytest.mark.parametrize("include", [False, True])
def test_a_part_and_the_rest_are_e_invoices_by_the_official_rules(form, include):
    make.shop(
        name="Tallow & Finch", country="GB", tax_id="GB 123 4567 89",
        prices_include_tax=include,
    )  # fmt: skip
    owner = make.customer(einvoice=form, address="3 Mill Row")
    invoice = till.handed_over(of=make.device(owner=owner))
    socket = invoice.lines.get(text__contains="socket")
    for note in (credit(invoice, {socket.pk: D(1)}), credit(invoice)):
        write = factur_x.cii if form == "pdf" else factur_x.ubl
        xml = einvoice_file(write, note, note.lines.all(), shop=Shop.current())
        if form == "ubl":
            assert bytes(note.ubl.file) == xml
        assert broken_rules(xml) == set()
        assert wrong_sums(xml, tax_within=D("0.01")) == set()
        assert figures(xml)[0]["BT-112"] == -note.gross


@pytest.mark.django_db
def test_the_desk_takes_back_what_it_says_and_reads_what_is_wrong(client):
    client.force_login(make.user(Role.COUNTER))
    invoice = till.handed_over()
    where = reverse("invoices:credit", args=[invoice.pk])
    labour, socket = (f"line{pk}" for pk in invoice.lines.values_list("pk", flat=True))
    page = client.get(where).content.decode()
    assert "whole invoice amount of" in page and f'name="{socket}" value="2"' in page
    for amount in ("3", "1e5", "NaN", "-1", "9" * 400):
        told = {"why": "One was not used.", labour: "0", socket: amount}
        wrong = client.post(where, told).content.decode()
        assert "One was not used." in wrong and amount in wrong and "problem" in wrong
    assert Invoice.objects.count() == 1
    told = {"why": "One was not used.", labour: "0", socket: "1"}
    page = client.post(where, told, follow=True).content.decode()
    assert "was credited in part by credit note CN26-00001" in page
    page = client.get(invoice.get_absolute_url()).content.decode()
    assert "Credited in part by" in page and "66.00" in page
    assert "remaining invoice amount" in client.get(where).content.decode()
