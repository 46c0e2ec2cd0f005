"""Rounding and tax against the examples that CEN/TC 434 published with EN 16931.

Amounts marked "published" were seen in the example's file, whose address and commit
stand in the first line of the data; "identity" must hold by the standard's own rules.
"""

import csv
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.money import (
    TaxedLine,
    TaxGroup,
    line_amount,
    round_to_step,
    rounded,
    totals,
)

D = Decimal
DATA = Path(__file__).parent / "data"


def rows(example):
    name = f"en16931_ubl_tc434_{example}_lines.csv"
    with (DATA / name).open() as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def stated(example):
    """The lines by the net amount that each states (BT-131)."""
    return [
        TaxedLine(D(1), D(row["line_net"]), D(row["rate"]), row["cat"])
        for row in rows(example)
    ]


def test_example_2_rounds_half_a_cent_up():
    """Published: 25 % of 1460.50 is 365.125 and stands there as 365.13; the total is
    1801.78, of which 1000.00 was paid before."""
    # Allowance and charge on the whole document, 100.00 each, both at 25 %.
    document = [TaxedLine(D(-1), D(100), D(25)), TaxedLine(D(1), D(100), D(25))]
    found = totals(stated("example2") + document)
    assert found.groups == (
        TaxGroup("E", D(0), D("-25.00"), D("0.00")),
        TaxGroup("S", D(15), D("1.00"), D("0.15")),
        TaxGroup("S", D(25), D("1460.50"), D("365.13")),
    )
    assert found.net == D("1436.50")
    assert found.tax == D("365.28")
    assert found.gross == D("1801.78")
    assert found.gross - D("1000.00") == D("801.78")


def test_example_2_would_be_a_cent_less_by_rounding_to_even():
    raw = D("1460.50") * 25 / 100
    assert raw == D("365.125")
    assert raw.quantize(D("0.01"), ROUND_HALF_EVEN) == D("365.12")


def test_example_8_takes_tax_on_the_sum():
    """Published: ten lines at 21 %, 908.91 net, 190.87 tax, 1099.78 in all."""
    lines = [
        TaxedLine(
            D(row["qty"]), D(row["net_price"]) / D(row["base_qty"]), D(row["rate"])
        )
        for row in rows("example8")
    ]
    found = totals(lines)
    assert found.lines == tuple(D(row["line_net"]) for row in rows("example8"))
    assert (found.net, found.tax, found.gross) == (
        D("908.91"),
        D("190.87"),
        D("1099.78"),
    )


def test_example_8_would_be_a_cent_more_with_tax_on_each_line():
    """The trap that the example is for."""
    each = sum(totals([line]).tax for line in stated("example8"))
    assert each == D("190.88")


# Halves go away from zero: 0.125 by EN 16931's use of abs() in its rules, the rest
# by the meaning of the word.
@pytest.mark.parametrize(
    ("raw", "cents"),
    [
        ("0.125", "0.13"),
        ("-0.125", "-0.13"),
        ("1.005", "1.01"),
        ("0.135", "0.14"),
        ("2.675", "2.68"),
        ("0.1249999", "0.12"),
        ("0.005", "0.01"),
        ("0.0049", "0.00"),
    ],
)
def test_ties_go_up(raw, cents):
    assert rounded(D(raw)) == D(cents)


# Minor units of ISO 4217 (from memory).
@pytest.mark.parametrize(
    ("places", "amount", "tax", "gross"),
    [
        (0, "1234", "123", "1357"),  # yen: 123.4
        (2, "12.35", "1.24", "13.59"),  # euro: 1.235
        (3, "12.345", "1.235", "13.580"),  # dinar: 1.2345
    ],
)
def test_currencies_of_any_decimals(places, amount, tax, gross):
    found = totals([TaxedLine(D(1), D(amount), D(10))], places=places)
    assert (str(found.tax), str(found.gross)) == (tax, gross)


def test_a_line_is_rounded_once_and_sums_are_not_rounded_again():
    line = TaxedLine(D(3), D("0.333"), D(0))
    assert line_amount(line) == D("1.00")
    found = totals([line, line, TaxedLine(D(1), D("0.004"), D(0))])
    assert found.lines == (D("1.00"), D("1.00"), D("0.00"))
    assert found.net == D("2.00")


def test_no_lines_are_nothing():
    assert str(totals([], places=3).gross) == "0.000"


@pytest.mark.parametrize(
    ("amount", "step", "result"),
    [("10.25", "0.5", "10.5"), ("10.24", "0.5", "10.0"), ("7", "0", "7")],
)
def test_to_a_step(amount, step, result):
    assert round_to_step(D(amount), step=D(step)) == D(result)


LINES = st.lists(
    st.builds(
        TaxedLine,
        quantity=st.decimals(-99, 999, places=2),
        price=st.decimals(0, 9999, places=4),
        rate=st.sampled_from([D(0), D(7), D("8.1"), D(19), D(25)]),
        category=st.just("S"),
    ),
    max_size=12,
)
PLACES = st.sampled_from([0, 2, 3])


@given(lines=LINES, places=PLACES)
def test_inclusive_prices_keep_the_gross_to_the_cent(lines, places):
    """What the customer was told, line by line, is what the customer pays."""
    found = totals(lines, places=places, prices_include_tax=True)
    told = [line_amount(line, places=places) for line in lines]
    assert found.gross == sum(told, D(0))
    assert found.net + found.tax == found.gross
    for group in found.groups:
        share = (group.net + group.tax) * group.rate / (100 + group.rate)
        assert abs(group.tax - share) <= D("0.5").scaleb(-places)


@given(lines=LINES, places=PLACES)
def test_the_sums_hold(lines, places):
    """Identities BR-CO-10, 13, 14 and 15; BR-CO-17 exactly, where official validators
    let a whole currency unit pass."""
    found = totals(lines, places=places)
    assert found.net == sum(found.lines, D(0))
    assert found.tax == sum((group.tax for group in found.groups), D(0))
    assert found.gross == found.net + found.tax
    for group in found.groups:
        error = group.tax - group.net * group.rate / 100
        assert abs(error) <= D("0.5").scaleb(-places)


@given(lines=LINES)
def test_the_order_of_lines_does_not_matter(lines):
    there, back = totals(lines), totals(lines[::-1])
    assert (there.groups, there.gross) == (back.groups, back.gross)
