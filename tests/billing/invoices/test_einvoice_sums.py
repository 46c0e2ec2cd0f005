"""The sums of an e-invoice, and what it asks for, without database or library."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.einvoice.en16931 import (
    EInvoiceLine,
    Party,
    check,
    sums,
    vat_number,
)
from shopdesk.errors import IncompleteError
from shopdesk.money import rounded
from tests.billing.einvoices import BUYER, SELLER, bill, lines

D = Decimal
RATES = [D(0), D(5), D("7.7"), D(19), D(20), D(25), D(100)]


def amounts(places, top):
    return st.integers(0, top).map(lambda n: D(n).scaleb(-places))


sold = st.builds(
    lambda quantity, price, rate: EInvoiceLine(
        "Socket", quantity, price, rate, "S" if rate else "Z"
    ),
    amounts(4, 10**7),
    amounts(4, 10**9),
    st.sampled_from(RATES),
)


@given(
    st.lists(sold, min_size=1, max_size=12),
    st.sampled_from([0, 2]),
    st.booleans(),
    st.booleans(),
)
def test_lines_add_up_to_groups_and_groups_to_the_total(
    rows, places, include, credit_sums
):
    one = bill(
        lines=rows, places=places, prices_include_tax=include, credit_sums=credit_sums
    )
    found = sums(one)
    assert found.lines_net == sum(line.net for line in found.lines) == found.net
    assert found.net + found.tax == found.gross == abs(one.gross)
    cent = D(1).scaleb(-places)
    for line in found.lines:
        assert line.price >= 0
        assert rounded(line.price * line.quantity, places=places) == line.net
    for group in found.groups:
        of_it = [
            written.net
            for written, row in zip(found.lines, rows, strict=True)
            if row.rate == group.rate
        ]
        assert sum(of_it) == group.net
        off = abs(rounded(group.net * group.rate / 100, places=places) - group.tax)
        assert off <= (cent if include else 0)


@given(st.lists(sold, min_size=1, max_size=8), amounts(2, 10**6), st.booleans())
def test_what_is_taken_off_lowers_its_own_group(rows, off, include):
    credit = EInvoiceLine("Fee credited", D(-1), off, D(19))
    one = bill(lines=[*rows, credit], prices_include_tax=include)
    found = sums(one)
    assert found.lines[-1].net <= 0 <= found.lines[-1].price
    assert found.lines_net == sum(line.net for line in found.lines) == found.net
    assert found.net + found.tax == found.gross == one.gross


def test_prices_with_tax_are_split_without_losing_a_cent():
    """Three at 0.10 with 20 %: 0.30 in all, 0.05 of it tax; 0.09 + 0.08 + 0.08."""
    rows = [EInvoiceLine(f"Fuse {n}", D(1), D("0.10"), D(20)) for n in range(3)]
    found = sums(bill(lines=rows, prices_include_tax=True))
    assert [line.net for line in found.lines] == [D("0.09"), D("0.08"), D("0.08")]
    assert (found.net, found.tax, found.gross) == (D("0.25"), D("0.05"), D("0.30"))


@pytest.mark.parametrize("wrong", [{"gross": D("129.11")}, {"tax": D("20.62")}])
def test_a_record_that_its_lines_do_not_come_to_is_refused(wrong):
    with pytest.raises(IncompleteError, match="add up to 129.10 with 20.61 tax"):
        sums(bill(**wrong))


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"lines": []}, "at least one line"),
        ({"seller": Party("", "", "DE", "1")}, "the shop’s name"),
        ({"seller": Party("A", "", "", "1")}, "the shop’s country"),
        ({"seller": Party("A", "", "germany", "1")}, "the shop’s country"),
        ({"seller": Party("A", "", "DE", " - ")}, "the shop’s tax number"),
        ({"buyer": Party(" ", "", "DE")}, "the customer’s name"),
        ({"buyer": Party("A", "", "")}, "the customer’s country"),
        ({"buyer": Party("A", "", "XK")}, "country code XK"),
        ({"places": 3, "currency": "KWD"}, "KWD has 3"),
        ({"category": "AE", "rate": D(0), "buyer": Party("A", "", "FR")}, "VAT number"),
        (
            {"category": "AE", "rate": D(0), "buyer": Party("A", "", "FR", "123")},
            "VAT number",
        ),
        ({"category": "E", "rate": D(0)}, "the reason for the tax exemption"),
        (
            {"category": "E", "rate": D(0), "reasons": {"E": " "}},
            "the reason for the tax",
        ),
        ({"category": "Z"}, "does not match its tax category Z"),
        ({"rate": D(0)}, "does not match its tax category S"),
        ({"category": "K", "rate": D(0)}, "an unsupported tax category: K"),
        ({"lines": [EInvoiceLine(" ", D(1), D(1), D(19))]}, "needs a description"),
        ({"lines": [*lines(), *lines("O", D(0))]}, "cannot mix items"),
        ({"credit_sums": True, "paid": D(1)}, "A credit note takes no payment"),
    ],
)
def test_what_is_lacking_is_told_in_a_sentence(facts, said):
    with pytest.raises(IncompleteError, match=said) as told:
        check(bill(**facts))
    assert str(told.value).endswith(".")


def test_a_bill_that_lacks_nothing_is_let_through():
    check(bill())
    check(bill("E", D(0), reasons={"E": "Small business"}))
    check(bill("AE", D(0), buyer=BUYER, seller=SELLER))
    check(bill(lines=[*lines(), *lines("Z", D(0))]))


@pytest.mark.parametrize(
    ("country", "tax_id", "number"),
    [
        ("DE", "DE 123 456 789", "DE123456789"),
        ("DE", "de123456789", "DE123456789"),
        ("DE", "12/345/67890", ""),
        ("DE", "HRB 12345", ""),
        ("DE", "FR 12 345678901", "FR12345678901"),
        ("GR", "EL 123456789", "EL123456789"),
        ("GB", "XI 123456789", "XI123456789"),
        ("AT", "ATU12345678", "ATU12345678"),
        ("CH", "CHE-123.456.789", "CHE123456789"),
        ("FR", "FRXX", ""),
        ("US", "12-3456789", ""),
        ("GB", "", ""),
    ],
)
def test_a_vat_number_is_known_by_the_letters_of_its_country(country, tax_id, number):
    assert vat_number(Party("A", "", country, tax_id)) == number
