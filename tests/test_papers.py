"""Every paper we print, read back by programs that are not ours.

outloud hears what a reader of the screen would say of it and checks PDF/UA-1; pikepdf
looks at what it carries. Each is read once in a language, on the sizes in turn. A new
paper is a line in PAPERS, or a test below fails.
"""

import re
from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from uuid import uuid4

import outloud
import pikepdf
import pytest
from django.core.management import call_command
from django.urls import reverse

from billing.day_close.actions import close_day
from billing.day_close.papers import day_paper
from billing.invoices.crediting import issue_credit_note
from billing.invoices.payments import record_deposit
from billing.reminders.actions import send_reminder
from billing.repair_form import actions as forms
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop
from tests import make, papers
from tests.billing import till

TEMPLATES = Path(__file__).parent.parent / "templates"


class Desk:
    """A small shop, its owner at the screen, and jobs on their way through it."""

    def __init__(self, client, tmp_path):
        self.client, self.tmp_path = client, tmp_path

    def of(self, address, *args):
        """The paper at an address of the shop."""
        answer = self.client.get(reverse(address, args=args))
        assert answer.status_code == 200, answer.content
        return b"".join(answer)

    @property
    def device(self):
        """A customer with everything that a paper may say of one."""
        owner = make.customer(
            name="Łucja Fenwick-Østergård",
            company="Fenwick & Sons",
            address="1 Lock Lane\n75001 Underbridge",
            country="FR",
            tax_id="FR 12 345678901",
            phone="+442079460018",
            email="lucja@fenwick.example",
            einvoice=Customer.EInvoice.PDF,
        )
        return make.device(owner, serial="SN-0O1I")


def slip(desk):
    return desk.of("intake:slip", make.job(desk.device, complaint="Cuts out").pk)


def label(desk):
    return desk.of("intake:label", make.job(desk.device, complaint="Cuts out").pk)


def part_label(desk):
    return desk.of("stock:label", make.part().pk)


def order_list(desk):
    make.part("R-4K7", on_hand=1, unit_cost=Decimal("0.02"), reorder_level=5)
    return desk.of("stock:order_file", "pdf")


def quote(desk):
    return bytes(till.sent(of=desk.device).pdf)


def quote_of_one(desk):
    return bytes(till.sent(of=desk.device, fixes=("lasting",)).pdf)


def draft(desk):
    return desk.of("quotes:paper", till.drafted(of=desk.device).pk)


def invoice(desk):
    return bytes(till.handed_over(of=desk.device).pdf)


def invoice_without_file(desk):
    return bytes(till.handed_over(paid=Decimal(20), means="cash").pdf)


def credit_note(desk):
    bill = till.handed_over(of=desk.device)
    note = issue_credit_note(bill, why="Wrong", stamp=make.stamp(on=till.TODAY))
    return bytes(note.pdf)


def receipt(desk):
    paid = record_deposit(
        till.accepted(of=desk.device).job,
        amount=Decimal(20),
        means="cash",
        key=uuid4(),
        stamp=make.stamp(on=till.TODAY),
    )
    return bytes(paid.receipt.pdf)


def reminder(desk):
    bill = till.handed_over(of=desk.device)
    on = bill.due_on + timedelta(days=30)
    sent = send_reminder(bill, stamp=make.stamp(on=on), text="Please pay.", fee=5)
    return bytes(sent.pdf)


def closed(desk):
    till.handed_over(of=desk.device, paid=Decimal(20), means="cash")
    return close_day(
        till.TODAY, counted=Decimal(20), stamp=make.stamp(on=till.TODAY, by=make.user())
    )


def day(desk):
    return bytes(closed(desk).pdf)


def day_on_a_roll(desk):
    return day_paper(closed(desk), shop=Shop.current(), is_slip=True)


def cover(desk):
    return desk.of("handover:certificate", till.handed_over(of=desk.device).job.pk)


def parcel(desk):
    job = till.ready(of=desk.device)
    facts = {"how": "post", "carrier": "Overland Post", "battery": "none"}
    facts |= {"amount": "", "key": str(uuid4()), "version": Job.objects.get().version}
    desk.client.post(reverse("handover:hand_over", args=[job.pk]), facts)
    return desk.of("handover:parcel", job.pk)


def repair_form(desk):
    made = forms.make(till.sent(of=desk.device).options.first(), stamp=make.stamp())
    return bytes(forms.issue(made, stamp=make.stamp(on=till.TODAY)).pdf)


def report(desk):
    fault = make.fault()
    for fix in (make.fix(fault), make.fix(fault, fix_type="stopgap")):
        for n in range(6):
            back = date(2026, 2, 9) if n < 2 else None
            make.past_repair(fault, fix, on=date(2026, 1, 5), back_on=back)
    file = desk.tmp_path / "report.pdf"
    call_command("comebacks", "--as-of", "2026-06-30", "--pdf", file, verbosity=0)
    return file.read_bytes()


PAPERS = {
    slip: "repairs/intake/slip.html",
    label: "repairs/intake/label.html",
    part_label: "repairs/stock/label.html",
    order_list: "repairs/stock/order_list.html",
    quote: "billing/quotes/paper.html",
    quote_of_one: "billing/quotes/paper.html",
    draft: "billing/quotes/paper.html",
    invoice: "billing/invoices/paper.html",
    invoice_without_file: "billing/invoices/paper.html",
    credit_note: "billing/invoices/paper.html",
    receipt: "billing/invoices/receipt.html",
    reminder: "billing/reminders/paper.html",
    day: "billing/day_close/paper.html",
    day_on_a_roll: "billing/day_close/slip.html",
    cover: "billing/handover/warranty_certificate.html",
    parcel: "billing/handover/packing_slip.html",
    repair_form: "billing/repair_form/paper.html",
    report: "repairs/month/report.html",
}
"""How each paper is made here, and the template that it proves."""


@pytest.fixture
def desk(client, tmp_path, db):
    client.force_login(make.user())
    make.shop(
        name="The Second Spark",
        address="3 Mill Row\n10115 Tarnford",
        country="DE",
        tax_id="DE 123 456 789",
        phone="+441632960111",
        email="desk@spark.example",
        tax_rate=Decimal(19),
        uses_repair_form=True,
    )
    return Desk(client, tmp_path)


def heard(pdf, tmp_path):
    """What outloud finds wrong: the rule, the page, and what it saw there.

    Its warnings are matters of taste on paper: a reference number as a heading, an
    email address that is no link.
    """
    file = tmp_path / "paper.pdf"
    file.write_bytes(pdf)
    result = outloud.check(str(file))
    ran = [run for run in result.runs if run.status == "ran"]
    assert not result.error and ran, "it did not look"
    crashed = [(run.rule, run.reason) for run in result.runs if run.status == "crashed"]
    return crashed + [
        (found.rule, found.page, found.message, found.evidence)
        for found in result.findings
        if found.severity == "error"
    ]


def carried(pdf):
    """What the paper lacks, or carries and must not."""
    paper = pikepdf.open(BytesIO(pdf))
    root = paper.Root
    with paper.open_metadata() as told:
        if not told.get("dc:title"):
            yield "no title"
        if told.get("pdfuaid:part") != "1":
            yield "not marked as PDF/UA-1"
    if "/Lang" not in root:
        yield "no language"
    if "/StructTreeRoot" not in root or not root.MarkInfo.Marked:
        yield "not tagged"
    for thing in (each for whole in paper.objects for each in dictionaries(whole)):
        if thing.get("/Type") == "/FontDescriptor" and not (
            {"/FontFile", "/FontFile2", "/FontFile3"} & set(thing.keys())
        ):
            yield f"{thing.FontName} is not inside"
        acts = {"/JS", "/JavaScript", "/AA", "/OpenAction", "/Launch", "/XFA"}
        yield from sorted(acts & set(thing.keys()))
        if thing.get("/S") in ("/JavaScript", "/Launch", "/SubmitForm"):
            yield f"an action {thing.S}"


def dictionaries(thing):
    """Those that a thing of a PDF is or holds, without those it only points at."""
    if isinstance(thing, pikepdf.Array):
        parts = list(thing)
    elif isinstance(thing, pikepdf.Dictionary | pikepdf.Stream):
        yield thing
        parts = [part for _, part in thing.items()]
    else:
        return
    for part in parts:
        if isinstance(part, pikepdf.Object) and not part.is_indirect:
            yield from dictionaries(part)


@pytest.mark.paper
@pytest.mark.parametrize(("size", "language"), [("A4", "en"), ("Letter", "de")])
@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.__name__)
def test_a_paper_can_be_read_by_everybody_and_does_nothing(
    desk, paper, size, language, tmp_path
):
    make.shop(paper=size, paper_language=language)
    papers.only_template = PAPERS[paper]
    pdf = paper(desk)
    assert heard(pdf, tmp_path) == []
    assert list(carried(pdf)) == []


def test_every_paper_we_have_is_read_here():
    extends = re.compile(r'{%\s*extends "shopdesk/look/paper.html"')
    ours = {
        str(path.relative_to(TEMPLATES))
        for path in TEMPLATES.rglob("*.html")
        if extends.match(path.read_text())
    }
    assert ours == set(PAPERS.values())


def test_a_bare_page_with_a_script_would_be_found_out(tmp_path):
    bare, file = pikepdf.new(), BytesIO()
    bare.add_blank_page()
    bare.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="beep()")
    bare.save(file)
    assert "DOC-001" in {rule for rule, *_ in heard(file.getvalue(), tmp_path)}
    found = list(carried(file.getvalue()))
    assert {"no title", "no language", "not tagged", "/JS", "/OpenAction"} <= set(found)
