"""E-invoices at the till: who gets which, what is kept, what is refused before."""

import re
import socket
import subprocess
import sys
from decimal import Decimal
from hashlib import sha256
from io import BytesIO
from uuid import uuid4

import facturx
import pikepdf
import pytest
from django.db import transaction
from django.db.utils import DatabaseError
from django.urls import reverse
from lxml import etree

from billing.einvoice import factur_x
from billing.handover.actions import hand_over
from billing.invoices.crediting import issue_credit_note
from billing.invoices.einvoice_of import einvoice_file
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import EInvoice, Invoice
from billing.invoices.payments import record_payment
from shopdesk.errors import IncompleteError
from shopdesk.shop.models import Series, Shop
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.einvoices import bill, broken_rules, figures, wrong_sums

D = Decimal


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    return client


def shop(**facts):
    given = {"name": "Tallow & Finch", "country": "GB", "tax_id": "GB 123 4567 89"}
    return make.shop(**given, **facts) if not facts else make.shop(**(given | facts))


def of(form, **facts):
    """A device whose owner wants e-invoices in this form."""
    facts = {"company": "Fenwick & Daughters", "address": "3 Mill Row"} | facts
    return make.device(owner=make.customer(einvoice=form, **facts))


def billed(form, **facts):
    return till.handed_over(of=of(form), **facts)


def credited(invoice):
    return issue_credit_note(
        invoice, why="Wrong person.", stamp=make.stamp(on=till.TODAY)
    )


def inside(invoice):
    """The XML in the kept paper, as a reader of e-invoices finds it."""
    name, xml = facturx.get_xml_from_pdf(
        bytes(invoice.pdf), check_xsd=True, check_schematron=False
    )
    assert name == "factur-x.xml"
    return xml


def cii(invoice):
    lines = invoice.lines.all()
    return einvoice_file(factur_x.cii, invoice, lines, shop=Shop.current())


# --- inside the PDF -------------------------------------------------------------------


@pytest.mark.paper
@pytest.mark.django_db
def test_the_paper_carries_the_e_invoice_byte_for_byte():
    shop()
    invoice = billed("pdf", paid=D(40), means="card", key=uuid4())
    xml = inside(invoice)
    assert xml == cii(invoice)
    assert broken_rules(xml) == set() and wrong_sums(xml) == set()
    whole, rows, _, _ = figures(xml)
    assert [row["net"] for row in rows] == [51, 8]
    assert (whole["BT-112"], whole["BT-113"]) == (D("70.80"), D(40))
    assert whole["BT-115"] == D("30.80")


@pytest.mark.django_db
def test_the_paper_with_the_e_invoice_is_frozen():
    shop()
    invoice = billed("pdf")
    before = bytes(invoice.pdf)
    assert invoice.pdf_sha256 == sha256(before).hexdigest()
    shop(name="Another name", tax_id="")
    record_payment(
        invoice,
        amount=D(5),
        means="cash",
        key=uuid4(),
        stamp=make.stamp(on=till.TODAY),
    )
    invoice.refresh_from_db()
    assert bytes(invoice.pdf) == before
    assert inside(invoice) == cii(invoice)


@pytest.mark.paper
@pytest.mark.django_db
def test_the_same_bill_gives_the_same_paper():
    from billing.invoices.papers import invoice_paper

    set_up = shop()
    invoice = billed("pdf")
    told = {
        "lines": list(invoice.lines.all()),
        "totals": invoice.totals(),
        "overpaid": D(0),
        "shop": set_up,
        "made_at": till.now(),
    }
    assert invoice_paper(invoice, **told) == invoice_paper(invoice, **told)


@pytest.mark.django_db
@pytest.mark.parametrize("form", ["pdf", "ubl"])
@pytest.mark.parametrize(
    "figures_of_the_shop",
    [{}, {"prices_include_tax": True}, {"tax_rate": D(0)}, {"currency": "JPY"}],
)
def test_bill_and_credit_note_keep_the_official_rules(form, figures_of_the_shop):
    set_up = shop(**figures_of_the_shop)
    invoice = billed(form)
    note = credited(invoice)
    within = D("0.01") if set_up.prices_include_tax else 0
    for one in (invoice, note):
        xml = inside(one) if form == "pdf" else bytes(one.ubl.file)
        assert broken_rules(xml) == set()
        assert wrong_sums(xml, places=set_up.places, tax_within=within) == set()
        assert figures(xml)[0]["BT-112"] == abs(one.gross)
    assert b"INV26-00001" in xml and b"Wrong person." in xml


@pytest.mark.django_db
@pytest.mark.parametrize("form", ["pdf", "ubl"])
def test_a_bill_of_nothing_is_an_e_invoice_too(form):
    shop()
    job = till.warranty_job()
    type(job.customer).objects.filter(pk=job.customer_id).update(einvoice=form)
    invoice = issue_invoice(job, stamp=make.stamp(on=till.TODAY))
    xml = inside(invoice) if form == "pdf" else bytes(invoice.ubl.file)
    assert broken_rules(xml) == set() and figures(xml)[0]["BT-115"] == 0


@pytest.mark.paper
@pytest.mark.django_db
def test_the_paper_has_the_marks_of_an_archive_and_of_accessibility():
    """What PDF/A-3a asks for, as far as we can see it; no validator says so."""
    shop()
    invoice = billed("pdf")
    with pikepdf.open(BytesIO(bytes(invoice.pdf))) as pdf:
        assert not pdf.is_encrypted and len(pdf.trailer.ID) == 2
        [file] = pdf.Root.AF
        assert file.AFRelationship == "/Alternative" and file.UF == "factur-x.xml"
        assert pdf.Root.Names.EmbeddedFiles.Names[1].objgen == file.objgen
        assert str(file.Desc)
        embedded = file.EF.F
        assert embedded.Subtype in ("/application/xml", "/text/xml")
        assert "/ModDate" in embedded.Params
        [intent] = pdf.Root.OutputIntents
        assert intent.S == "/GTS_PDFA1" and intent.DestOutputProfile.N == 3
        assert pdf.Root.MarkInfo.Marked and "/StructTreeRoot" in pdf.Root
        assert pdf.Root.ViewerPreferences.DisplayDocTitle
        assert str(pdf.Root.Lang) == "en-gb"
        assert "/JavaScript" not in pdf.Root.Names and "/OpenAction" not in pdf.Root
        faces = [
            one
            for one in pdf.objects
            if isinstance(one, pikepdf.Dictionary) and "/FontName" in one
        ]
        assert faces
        assert all("/FontFile2" in one or "/FontFile3" in one for one in faces)
        assert len(pdf.pages) == 1
        packet = pdf.Root.Metadata
        assert "/Filter" not in packet, "read by tools that do not unpack it"
        told = etree.fromstring(packet.read_bytes())
    check_description(told)


def check_description(told):
    rdf = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
    assert len(told.findall(f".//{rdf}RDF")) == 1
    values = {}
    for node in told.iter(f"{rdf}Description"):
        values |= node.attrib
        values |= {child.tag: child.text for child in node}
    fx = "{urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#}"
    for name, value in {
        "{http://www.aiim.org/pdfa/ns/id/}part": "3",
        "{http://www.aiim.org/pdfa/ns/id/}conformance": "A",
        "{http://www.aiim.org/pdfua/ns/id/}part": "1",
        fx + "DocumentType": "INVOICE",
        fx + "DocumentFileName": "factur-x.xml",
        fx + "Version": "1.0",
        fx + "ConformanceLevel": "EN 16931",
    }.items():
        assert values[name] == value, name
    # Every term that is no part of PDF/A itself is explained, in one place.
    schema = "{http://www.aiim.org/pdfa/ns/schema#}"
    assert len(told.findall(".//{http://www.aiim.org/pdfa/ns/extension/}schemas")) == 1
    assert {node.text for node in told.iter(f"{schema}prefix")} == {"fx", "pdfuaid"}
    names = "{http://www.aiim.org/pdfa/ns/property#}name"
    assert [node.text for node in told.iter(names)] == [
        "part",
        "DocumentType",
        "DocumentFileName",
        "Version",
        "ConformanceLevel",
    ]


@pytest.mark.django_db
def test_who_wants_none_gets_the_plain_paper():
    shop()
    invoice = billed("")
    with pikepdf.open(BytesIO(bytes(invoice.pdf))) as pdf:
        assert "/AF" not in pdf.Root and not pdf.attachments
    assert not EInvoice.objects.exists()


# --- as a file ------------------------------------------------------------------------


def fetch(client, invoice):
    return client.get(reverse("invoices:ubl", args=[invoice.pk]))


@pytest.mark.django_db
def test_the_file_is_made_with_the_bill_and_stays_byte_for_byte(desk):
    shop()
    invoice = billed("ubl")
    first = fetch(desk, invoice)
    assert first["Content-Type"] == "application/xml"
    assert first["Content-Disposition"] == 'attachment; filename="INV26-00001.xml"'
    assert sha256(first.content).hexdigest() == invoice.ubl.file_hash
    assert broken_rules(first.content) == set() and wrong_sums(first.content) == set()
    shop(name="Another name", tax_id="GB 999 9999 73")
    desk.post(reverse("invoices:ubl", args=[invoice.pk]))
    assert fetch(desk, invoice).content == first.content
    assert EInvoice.objects.count() == 1
    page = desk.get(invoice.get_absolute_url()).content.decode()
    assert reverse("invoices:ubl", args=[invoice.pk]) in page


@pytest.mark.django_db
def test_a_file_asked_for_later_tells_of_the_day_of_the_bill(desk):
    shop()
    invoice = billed("", paid=D(40), means="card", key=uuid4())
    assert fetch(desk, invoice).status_code == 404
    shop(name="Another name", tax_id="GB 999 9999 73")
    invoice.customer.name = "Ada Marlowe"
    invoice.customer.save()
    form = {"amount": "30.80", "means": "cash", "key": str(uuid4()), "way": "in"}
    desk.post(invoice.get_absolute_url(), form)
    page = desk.get(invoice.get_absolute_url()).content.decode()
    assert "Create e-invoice (UBL)" in page
    where = reverse("invoices:ubl", args=[invoice.pk])
    assert "created and stored" in desk.post(where, follow=True).content.decode()
    xml = fetch(desk, invoice).content
    assert b"GB123456789" in xml and b"Tallow &amp; Finch" in xml
    assert b"Ada Fenwick" in xml
    assert figures(xml)[0]["BT-115"] == D("30.80")
    assert broken_rules(xml) == set()
    # and whoever got a file gets the credit note as a file
    assert b"CreditNote" in bytes(credited(invoice).ubl.file)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "change",
    [
        lambda: EInvoice.objects.update(file=b"<Invoice/>"),
        lambda: EInvoice.objects.all()._raw_delete("default"),
    ],
)
def test_the_database_refuses_to_change_a_file(change):
    shop()
    invoice = billed("ubl")
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        change()
    kept = EInvoice.objects.get(invoice=invoice)
    assert sha256(bytes(kept.file)).hexdigest() == kept.file_hash


@pytest.mark.django_db
def test_the_bench_does_not_fetch_files(client):
    shop()
    invoice = billed("ubl")
    client.force_login(make.user(Role.BENCH))
    assert fetch(client, invoice).status_code == 403


# --- what is refused ------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("form", ["pdf", "ubl"])
@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"tax_id": ""}, "the shop’s tax number in the shop settings"),
        ({"country": ""}, "the shop’s country in the shop settings"),
        ({"country": "XK"}, "country code XK"),
        ({"currency": "KWD"}, "allow 2 decimals, but KWD has 3"),
        ({"currency": "BGN"}, "No e-invoice could be created for INV26-00001"),
    ],
)
def test_what_the_record_lacks_is_told_before_anything_moves(form, facts, said):
    shop(**facts)
    job = till.ready(of=of(form))
    with pytest.raises(IncompleteError, match=re.escape(said)):
        hand_over(job, version=None, stamp=make.stamp(on=till.TODAY))
    job.refresh_from_db()
    assert job.state == "ready" and not Invoice.objects.exists()
    assert not EInvoice.objects.exists() and not Series.objects.filter(name="INV26")
    assert job.repairs.get().warranty_until is None
    shop(currency="EUR")
    if "currency" not in facts:
        done = hand_over(job, version=None, stamp=make.stamp(on=till.TODAY))
        assert done.full_number == "INV26-00001"


@pytest.mark.django_db
def test_the_counter_reads_on_the_screen_what_is_lacking(desk):
    shop(tax_id="")
    job = till.ready(of=of("pdf"))
    where = reverse("handover:hand_over", args=[job.pk])
    told = {"amount": "", "means": "", "key": str(uuid4()), "version": job.version}
    told |= {"how": "counter"}
    page = desk.post(where, told).content.decode()
    assert "the shop’s tax number in the shop settings" in page
    assert "change the customer record" in page
    assert not Invoice.objects.exists()


@pytest.mark.django_db
def test_a_file_that_cannot_be_made_later_is_told(desk):
    shop(tax_id="")
    invoice = billed("")
    where = reverse("invoices:ubl", args=[invoice.pk])
    page = desk.post(where, follow=True).content.decode()
    assert (
        "the shop’s tax number in the shop settings" in page
        and not EInvoice.objects.exists()
    )


# --- the customer ---------------------------------------------------------------------


@pytest.mark.django_db
def test_how_the_customer_wants_it_is_written_with_them(desk):
    shop()
    who = make.customer(phone="+442079460018")
    where = reverse("customers:change", args=[who.pk])
    assert "accounting software imports invoices" in desk.get(where).content.decode()
    told = {"name": who.name, "phone": "020 7946 0018", "preferred_contact": "phone"}
    wrong = desk.post(where, told | {"einvoice": "fax", "country": "ZZ"})
    assert wrong.content.decode().count("valid choice") >= 2
    told |= {"einvoice": "pdf", "country": "FR", "tax_id": "FR 12 345678901"}
    page = desk.post(where, told, follow=True).content.decode()
    assert "inside the PDF" in page
    invoice = till.handed_over(of=make.device(owner=who))
    xml = inside(invoice)
    assert b"<ram:CountryID>FR<" in xml and b"FR12345678901" in xml


# --- no network, no waiting -----------------------------------------------------------


@pytest.fixture
def dialled(monkeypatch):
    """The addresses that somebody tried to reach, this machine's own too."""
    tried = []

    def refuse(line, address):
        tried.append(address)
        raise ConnectionRefusedError

    monkeypatch.setattr(socket.socket, "connect", refuse)
    return tried


def test_nothing_is_dialled_to_make_an_e_invoice(dialled):
    assert factur_x.cii(bill()) and factur_x.ubl(bill())
    assert dialled == []
    # The library would, left to itself: so the watch above can see it.
    facturx.generate_cii_xml(factur_x._document(bill()), level="en16931")
    assert dialled


def test_the_library_is_not_loaded_before_it_is_used():
    ask = (
        "import os, sys, django;"
        "os.environ['DJANGO_SETTINGS_MODULE'] = 'shopdesk.settings'; django.setup();"
        "import shopdesk.urls, billing.invoices.views;"
        "print([m for m in ('facturx', 'requests', 'pypdf') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", ask], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
