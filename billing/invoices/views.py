"""The till's bills: read, paid, taken back."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from billing.invoices import actions
from billing.invoices.filters import InvoiceFilter
from billing.invoices.forms import CreditForm, PaymentForm
from billing.invoices.models import EInvoice, Invoice
from billing.invoices.tables import InvoiceTable
from shopdesk.printing import PaperFailed
from shopdesk.shop.models import Shop

REFUSALS = (actions.Refused, PaperFailed)


@require_GET
def all_invoices(request):
    """The list, with what is left to pay on each."""
    asked = InvoiceFilter(request.GET, Invoice.objects.for_rows())
    table = RequestConfig(request).configure(InvoiceTable(asked.qs))
    return render(
        request,
        "billing/invoices/all.html",
        {"table": table, "filter": asked, "form": asked.form},
    )


def _invoice(pk):
    found = Invoice.objects.for_rows().select_related(
        "job__device__model", "credits", "quote"
    )
    return get_object_or_404(
        found.defer("paper", "credits__paper", "quote__paper"), pk=pk
    )


def _page(request, invoice, form):
    written_in = invoice.written_in(Shop.current())
    totals = invoice.totals()
    return render(
        request,
        "billing/invoices/invoice.html",
        {
            "invoice": invoice,
            "job": invoice.job,
            "lines": list(zip(invoice.lines.all(), totals.lines, strict=True)),
            "totals": totals,
            "payments": invoice.payments.select_related("taken_by"),
            "notes": invoice.credit_notes.defer("paper"),
            "written_in": written_in,
            "owed_back": -invoice.owed,
            "has_ubl": EInvoice.objects.filter(invoice=invoice).exists(),
            "form": form,
        },
    )


def invoice(request, pk):
    """One bill, and the payments on it."""
    invoice = _invoice(pk)
    form = PaymentForm(
        request.POST if request.method == "POST" else None,
        written_in=invoice.written_in(Shop.current()),
        left=invoice.owed,
    )
    if form.is_valid():
        # Where the shop owes, the same form pays back.
        sign = -1 if request.POST.get("way") == "back" else 1
        try:
            actions.pay(
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
            messages.success(request, "The payment is written down.")
            return redirect(invoice)
    return _page(request, invoice, form)


def credit(request, pk):
    """Take a bill back, by a credit note with a reason."""
    invoice = _invoice(pk)
    form = CreditForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            note = actions.credit(
                invoice,
                why=form.cleaned_data["why"],
                on=timezone.localdate(),
                at=timezone.now(),
                by=request.user,
            )
        except REFUSALS as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request, f"{invoice} is taken back by credit note {note.full_number}."
            )
            return redirect(note)
    return render(
        request,
        "billing/invoices/credit.html",
        {
            "invoice": invoice,
            "form": form,
            "written_in": invoice.written_in(Shop.current()),
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
