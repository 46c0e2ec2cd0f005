"""The till's bills: read, issued, paid, taken back."""

import dataclasses

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from billing.invoices import actions
from billing.invoices.filters import InvoiceFilter
from billing.invoices.forms import BuyerForm, CreditForm, PaymentForm
from billing.invoices.models import EInvoice, Invoice
from billing.invoices.payments.actions import cash_of, written_down
from billing.invoices.payments.views import with_receipts
from billing.invoices.queries import bill_of
from billing.invoices.tables import InvoiceTable
from billing.repair_form.models import RepairInformationForm
from repairs.jobs.models import Job, NotYet
from shopdesk.papers.render import PaperFailed
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

REFUSALS = (actions.Refused, NotYet, PaperFailed)


@require_GET
def all_invoices(request):
    """The list, with what is left to pay on each."""
    asked = InvoiceFilter(request.GET, Invoice.objects.for_list())
    table = InvoiceTable(asked.qs, on=timezone.localdate())
    RequestConfig(request).configure(table)
    return render(
        request,
        "billing/invoices/all.html",
        {"table": table, "filter": asked, "form": asked.form},
    )


def _invoice(pk):
    found = Invoice.objects.for_list().select_related(
        "job__device__model", "credits", "quote"
    )
    return get_object_or_404(
        found.defer("paper", "credits__paper", "quote__paper"), pk=pk
    )


def _page(request, invoice, form):
    written_in = invoice.written_in(Shop.current())
    totals = invoice.totals()
    on = timezone.localdate()
    return render(
        request,
        "billing/invoices/invoice.html",
        {
            "invoice": invoice,
            "job": invoice.job,
            "lines": list(zip(invoice.lines.all(), totals.lines, strict=True)),
            "totals": totals,
            "payments": with_receipts(invoice.payments.all()),
            "reminders": invoice.reminders.defer("paper"),
            "notes": invoice.credit_notes.defer("paper"),
            "written_in": written_in,
            "where": invoice.standing_on(on),
            "days_late": invoice.days_late(on),
            "owed_back": -invoice.owed,
            "has_ubl": EInvoice.objects.filter(invoice=invoice).exists(),
            "form": form,
        },
    )


def invoice(request, pk):
    """One bill, and the payments on it."""
    invoice = _invoice(pk)
    shop = Shop.current()
    form = PaymentForm(
        request.POST if request.method == "POST" else None,
        written_in=invoice.written_in(shop),
        left=invoice.owed,
        in_cash=cash_of(invoice.owed, currency=invoice.currency, shop=shop),
    )
    if form.is_valid():
        # Where the shop owes, the same form pays back.
        sign = -1 if request.POST.get("way") == "back" else 1
        try:
            payment = actions.pay(
                invoice,
                amount=sign * form.cleaned_data["amount"],
                means=form.cleaned_data["means"],
                key=form.cleaned_data["key"],
                on=timezone.localdate(),
                at=timezone.now(),
                by=request.user,
            )
        except REFUSALS as refusal:
            form.add_error("amount", str(refusal))
        else:
            messages.success(request, written_down(payment, shop))
            return redirect(invoice)
    return _page(request, invoice, form)


def credit(request, pk):
    """Take a bill back, or a part of it, by a credit note with a reason."""
    invoice = _invoice(pk)
    stands = invoice.standing_lines()
    form = CreditForm(request.POST if request.method == "POST" else None, lines=stands)
    if form.is_valid():
        try:
            note = actions.credit(
                invoice,
                why=form.cleaned_data["why"],
                back=form.back(),
                on=timezone.localdate(),
                at=timezone.now(),
                by=request.user,
            )
        except REFUSALS as refusal:
            form.add_error(None, str(refusal))
        else:
            how = "" if note.is_whole else "in part "
            messages.success(
                request,
                f"{invoice} is taken back {how}by credit note {note.full_number}.",
            )
            return redirect(note)
    return render(
        request,
        "billing/invoices/credit.html",
        {
            "invoice": invoice,
            "form": form,
            "rows": form.rows(),
            "left": invoice.gross + sum(n.gross for n in invoice.credit_notes.all()),
            "written_in": invoice.written_in(Shop.current()),
        },
    )


def bill(request, pk):
    """Bill a job without handing it back: one billed before and taken back, say."""
    job = get_object_or_404(
        Job.objects.select_related("customer", "device__model"), pk=pk
    )
    shop = Shop.current()
    on = timezone.localdate()
    try:
        actions.check_billable(job)
        bill = bill_of(job, on=job.handed_over_on or on, shop=shop)
    except REFUSALS as refusal:
        messages.error(request, str(refusal))
        return redirect("invoices:for_job", pk)
    buyer = actions.buyer_of(job.customer, shop)
    form = BuyerForm(
        request.POST if request.method == "POST" else None,
        initial=dataclasses.asdict(buyer),
    )
    if form.is_valid():
        try:
            invoice = actions.issue(
                job,
                on=on,
                at=timezone.now(),
                by=request.user,
                buyer=actions.Buyer(**form.cleaned_data),
            )
        except REFUSALS as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"{invoice} is issued.")
            return redirect(invoice)
    return render(
        request,
        "billing/invoices/bill.html",
        {
            "job": job,
            "bill": bill,
            "bound_by": RepairInformationForm.objects.exceeded_by(
                bill.totals.gross, job=job
            ),
            "lines": list(zip(bill.lines, bill.totals.lines, strict=True)),
            "totals": bill.totals,
            "written_in": Currency(bill.currency, shop.locale),
            "form": form,
        },
    )


@require_GET
def paper(request, pk):
    """The paper as it was kept when the bill was issued."""
    invoice = get_object_or_404(Invoice, pk=pk)
    return HttpResponse(
        bytes(invoice.paper),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{invoice.full_number}.pdf"'
        },
    )


def ubl(request, pk):
    """The UBL file as it was kept; a press of the button makes it, once."""
    if request.method == "POST":
        invoice = _invoice(pk)
        try:
            actions.keep_ubl(invoice, at=timezone.now())
        except REFUSALS as refusal:
            messages.error(request, str(refusal))
        else:
            messages.success(request, "The UBL file is made and kept with the bill.")
        return redirect(invoice)
    found = EInvoice.objects.select_related("invoice").defer("invoice__paper")
    kept = get_object_or_404(found, invoice=pk)
    name = kept.invoice.full_number
    return HttpResponse(
        bytes(kept.file),
        content_type="application/xml",
        headers={"Content-Disposition": f'attachment; filename="{name}.xml"'},
    )
