"""Every value of an e-invoice stands where it stood: compared with a stored text.

To accept a change, write the result of `as_text()` to the file and read the difference.
"""

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from lxml import etree

from billing.einvoice import factur_x
from billing.einvoice.en16931 import EInvoiceLine, Party
from shopdesk.errors import IncompleteError
from tests.billing.einvoices import bill, lines

D = Decimal
STORED = Path(__file__).with_name("einvoices.txt")
CASES = {
    "two rates, a deposit and a due date": bill(
        lines=[
            *lines(),
            EInvoiceLine("Book", D(2), D("9.995"), D(7)),
            EInvoiceLine("Deposit for a cable, not charged", D(0), D("11.9"), D(19)),
        ],
        paid=D(30),
        means="cash",
        due_on=date(2026, 3, 19),
        notes=["Thank you.", "Job 26-00007"],
    ),
    "exempt, tax included, foreign currency": bill(
        "E",
        D(0),
        currency="CHF",
        prices_include_tax=True,
        reasons={"E": "Small business, no VAT charged"},
    ),
    "a line without quantity, tax included": bill(
        lines=[EInvoiceLine("Diagnosis", D(0), D("119"), D(19)), *lines()],
        prices_include_tax=True,
    ),
    "not subject, sellers without a VAT number": bill(
        "O",
        D(0),
        seller=Party("Tallow & Finch", "3 Mill Row\nBack yard\nStair 2", "DE", "12/34"),
        buyer=Party("Ada Fenwick", "", "GB"),
    ),
    "credit note": bill(credit_sums=True, notes=["Billed to the wrong person."]),
}


def as_text():
    return "".join(
        f"== {name}, {write.__name__}\n{values(write(invoice))}\n"
        for name, invoice in CASES.items()
        for write in (factur_x.cii, factur_x.ubl)
    )


def values(xml):
    """Return a line for each element with text or attributes: its path and value."""
    written = []
    for element in etree.fromstring(xml).iter(etree.Element):
        text = (element.text or "").strip()
        facts = "".join(f" {name}={value}" for name, value in element.items())
        if text or facts:
            above = [*reversed([*element.iterancestors()])][1:]
            path = "/".join(etree.QName(one).localname for one in [*above, element])
            written.append(f"{path}{facts}: {text}\n")
    return "".join(written)


def test_every_value_stands_where_it_stood():
    assert as_text() == STORED.read_text()


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"seller": Party("Tallow & Finch", "3 Mill Row", "", "")}, "country"),
        ({"reasons": {}, "category": "E", "rate": D(0)}, "exempt"),
    ],
)
def test_what_is_missing_is_named(facts, sentence):
    with pytest.raises(IncompleteError, match=sentence):
        factur_x.cii(bill(**facts))
