"""Staff pages for invoices and for the payments of a job."""

import dataclasses

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET

from billing.einvoice.buyer import default_buyer
from billing.einvoice.en16931 import Party
from billing.invoices import issuing
from billing.invoices.balance import balance_of
from billing.invoices.crediting import issue_credit_note
from billing.invoices.draft import agreed_price, draft_invoice
from billing.invoices.filters import InvoiceFilter
from billing.invoices.forms import BuyerForm, CreditForm, PaymentForm
from billing.invoices.models import EInvoice, Invoice, Payment, Receipt
from billing.invoices.payments import (
    due_in_cash,
    payment_message,
    record_deposit,
    record_payment,
    store_receipt,
)
from billing.invoices.tables import InvoiceTable
from billing.repair_form.models import RepairInformationForm
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.look.downloads import download, pdf_response
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp


@require_GET
def all_invoices(request):
    """List invoices with their balance due."""
    found = InvoiceFilter(request.GET, Invoice.objects.for_list())
    table = InvoiceTable(found.qs, on=timezone.localdate())
    facts = {"filter": found, "form": found.form}
    return list_page(request, "billing/invoices/all.html", table, **facts)


def _invoice(pk):
    found = Invoice.objects.for_list().select_related(
        "job__device__model", "credits", "quote"
    )
    return get_object_or_404(found.defer("pdf", "credits__pdf", "quote__pdf"), pk=pk)


def invoice(request, pk):
    """Show one invoice and its payments."""
    invoice = _invoice(pk)
    shop = request.shop
    form = PaymentForm(
        request.POST or None,
        written_in=invoice.written_in(shop),
        due=invoice.owed,
        in_cash=due_in_cash(invoice.owed, currency=invoice.currency, shop=shop),
    )
    if payment := _pay(request, form, record_payment, invoice):
        messages.success(request, payment_message(payment, shop))
        return redirect(invoice)
    on = timezone.localdate()
    return render(
        request,
        "billing/invoices/invoice.html",
        {
            "invoice": invoice,
            "totals": invoice.totals(),
            "payments": invoice.payments.for_list(),
            "reminders": invoice.reminders.defer("pdf"),
            "notes": invoice.credit_notes.defer("pdf"),
            "written_in": invoice.written_in(shop),
            "status": invoice.status_on(on),
            "days_late": invoice.days_late(on),
            "refund_due": -invoice.owed,
            "has_ubl": EInvoice.objects.filter(invoice=invoice).exists(),
            "form": form,
        },
    )


def _pay(request, form, action, record):
    """Record the payment of a form, or with `way=back` the refund; None if refused."""
    if not form.is_valid():
        return None
    sign = -1 if request.POST.get("way") == "back" else 1
    return attempt(
        request,
        form,
        action,
        record,
        field="amount",
        **form.payment(sign),
        stamp=Stamp.of(request),
    ).result


def credit(request, pk):
    """Credit an invoice, fully or in part, with a reason."""
    invoice = _invoice(pk)
    form = CreditForm(request.POST or None, lines=invoice.remaining_lines())
    if form.is_valid():
        done = attempt(
            request,
            form,
            issue_credit_note,
            invoice,
            why=form.cleaned_data["why"],
            quantities=form.quantities(),
            stamp=Stamp.of(request),
        )
        if done:
            note = done.result
            credited = (
                gettext("{invoice} was credited by credit note {note}.")
                if note.is_whole
                else gettext("{invoice} was credited in part by credit note {note}.")
            )
            messages.success(
                request, credited.format(invoice=invoice, note=note.full_number)
            )
            return redirect(note)
    return render(
        request,
        "billing/invoices/credit.html",
        {
            "invoice": invoice,
            "form": form,
            "rows": form.rows(),
            "remaining": invoice.remaining_gross,
            "written_in": invoice.written_in(request.shop),
        },
    )


def create(request, pk):
    """Invoice a job without handing it over, for example after a credit note."""
    found = Job.objects.select_related("customer", "device__model")
    job = get_object_or_404(found, pk=pk)
    shop = request.shop
    on = timezone.localdate()
    try:
        issuing.check_can_invoice(job)
        draft = draft_invoice(job, on=job.handed_over_on or on, shop=shop)
    except RefusedError as refusal:
        messages.error(request, str(refusal))
        return redirect("invoices:for_job", pk)
    buyer = default_buyer(job.customer, shop)
    form = BuyerForm(request.POST or None, initial=dataclasses.asdict(buyer))
    if form.is_valid():
        buyer = Party(**form.cleaned_data)
        done = attempt(
            request,
            form,
            issuing.issue_invoice,
            job,
            buyer=buyer,
            stamp=Stamp.of(request),
        )
        if done:
            messages.success(
                request,
                gettext("Invoice {invoice} issued.").format(invoice=done.result),
            )
            return redirect(done.result)
    return render(
        request,
        "billing/invoices/create.html",
        {
            "job": job,
            "draft": draft,
            "exceeded_form": RepairInformationForm.objects.exceeded_by(
                draft.totals.gross, job=job
            ),
            "written_in": draft.written_in(shop),
            "form": form,
        },
    )


def for_job(request, pk):
    """Show invoices and payments of a job; record a deposit."""
    found = Job.objects.select_related("customer", "device__model")
    job = get_object_or_404(found, pk=pk)
    shop = request.shop
    balance = balance_of(job)
    written_in = balance.written_in(shop)
    is_refund = request.POST.get("way") == "back"
    entered = request.POST or None
    deposit_form = PaymentForm(
        None if is_refund else entered, written_in=written_in, due=None, prefix="in"
    )
    refund_form = PaymentForm(
        entered if is_refund else None,
        written_in=written_in,
        due=balance.deposit,
        prefix="back",
    )
    form = refund_form if is_refund else deposit_form
    if payment := _pay(request, form, record_deposit, job):
        number = payment.receipt.full_number
        text = payment_message(payment, shop)
        messages.success(
            request,
            " ".join(
                [text, gettext("Receipt {number} is below.").format(number=number)]
            ),
        )
        return redirect("invoices:for_job", pk)
    is_invoiced = job.invoices.in_force().exists()
    return render(
        request,
        "billing/invoices/for_job.html",
        {
            "job": job,
            "balance": balance,
            "refund_due": -balance.owed,
            "agreed": agreed_price(job, shop=shop),
            "written_in": written_in,
            "invoices": job.invoices.for_list().order_by("id"),
            "payments": job.payments.for_list(),
            "takes_deposit": not is_invoiced and job.state != states.HANDED_OVER,
            "can_invoice": not is_invoiced
            and job.state in (states.READY, states.HANDED_OVER),
            "deposit_form": deposit_form,
            "refund_form": refund_form,
            "forms": [deposit_form, refund_form],
        },
    )


@require_GET
def paper(request, pk):
    """Return the document as stored when the invoice was issued."""
    invoice = get_object_or_404(Invoice, pk=pk)
    return pdf_response(invoice.pdf, name=invoice.full_number)


def ubl(request, pk):
    """Return the stored UBL file; POST creates it once."""
    if request.method == "POST":
        invoice = _invoice(pk)
        if attempt(request, None, issuing.store_ubl, invoice, stamp=Stamp.of(request)):
            messages.success(
                request, gettext("E-invoice created and stored with the invoice.")
            )
        return redirect(invoice)
    found = EInvoice.objects.select_related("invoice").defer("invoice__pdf")
    stored = get_object_or_404(found, invoice=pk)
    return download(bytes(stored.file), name=str(stored))


def receipt(request, pk):
    """Return the stored receipt; POST creates it once."""
    payment = get_object_or_404(Payment, pk=pk)
    if request.method == "POST":
        if attempt(request, None, store_receipt, payment, stamp=Stamp.of(request)):
            return redirect("invoices:receipt", pk)
        return redirect("invoices:for_job", payment.job_id)
    stored = get_object_or_404(Receipt, payment=payment)
    return pdf_response(stored.pdf, name=stored.full_number)
