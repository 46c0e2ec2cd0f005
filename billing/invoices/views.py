"""Invoices, and all money of a job: read, issued, paid, credited."""

import dataclasses

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

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
from shopdesk.look.forms import attempt
from shopdesk.shop.currencies import Currency
from shopdesk.stamp import Stamp


@require_GET
def all_invoices(request):
    """The list, with what is left to pay on each."""
    found = InvoiceFilter(request.GET, Invoice.objects.for_list())
    table = InvoiceTable(found.qs, on=timezone.localdate())
    RequestConfig(request).configure(table)
    return render(
        request,
        "billing/invoices/all.html",
        {"table": table, "filter": found, "form": found.form},
    )


def _invoice(pk):
    found = Invoice.objects.for_list().select_related(
        "job__device__model", "credits", "quote"
    )
    return get_object_or_404(found.defer("pdf", "credits__pdf", "quote__pdf"), pk=pk)


def invoice(request, pk):
    """One invoice, and the payments on it."""
    invoice = _invoice(pk)
    shop = request.shop
    form = PaymentForm(
        request.POST or None,
        written_in=invoice.written_in(shop),
        left=invoice.owed,
        in_cash=due_in_cash(invoice.owed, currency=invoice.currency, shop=shop),
    )
    if form.is_valid():
        # Where the shop owes, the same form pays back.
        sign = -1 if request.POST.get("way") == "back" else 1
        done = attempt(
            request,
            form,
            record_payment,
            invoice,
            field="amount",
            **form.payment(sign),
            stamp=Stamp.of(request),
        )
        if done:
            messages.success(request, payment_message(done.result, shop))
            return redirect(invoice)
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
            "payments": invoice.payments.for_list(),
            "reminders": invoice.reminders.defer("pdf"),
            "notes": invoice.credit_notes.defer("pdf"),
            "written_in": invoice.written_in(shop),
            "where": invoice.standing_on(on),
            "days_late": invoice.days_late(on),
            "owed_back": -invoice.owed,
            "has_ubl": EInvoice.objects.filter(invoice=invoice).exists(),
            "form": form,
        },
    )


def credit(request, pk):
    """Credit an invoice, or a part of it, with a reason."""
    invoice = _invoice(pk)
    form = CreditForm(request.POST or None, lines=invoice.standing_lines())
    if form.is_valid():
        done = attempt(
            request,
            form,
            issue_credit_note,
            invoice,
            why=form.cleaned_data["why"],
            back=form.back(),
            stamp=Stamp.of(request),
        )
        if done:
            note = done.result
            how = "" if note.is_whole else "in part "
            messages.success(
                request,
                f"{invoice} is credited {how}by credit note {note.full_number}.",
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
            "written_in": invoice.written_in(request.shop),
        },
    )


def bill(request, pk):
    """Invoice a job without handing it over: one whose invoice was credited, say."""
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
    buyer = issuing.default_buyer(job.customer, shop)
    form = BuyerForm(request.POST or None, initial=dataclasses.asdict(buyer))
    if form.is_valid():
        buyer = issuing.Buyer(**form.cleaned_data)
        done = attempt(
            request,
            form,
            issuing.issue_invoice,
            job,
            buyer=buyer,
            stamp=Stamp.of(request),
        )
        if done:
            messages.success(request, f"Invoice {done.result} issued.")
            return redirect(done.result)
    return render(
        request,
        "billing/invoices/bill.html",
        {
            "job": job,
            "draft": draft,
            "bound_by": RepairInformationForm.objects.exceeded_by(
                draft.totals.gross, job=job
            ),
            "lines": list(zip(draft.lines, draft.totals.lines, strict=True)),
            "totals": draft.totals,
            "written_in": Currency(draft.currency, shop.locale),
            "form": form,
        },
    )


def for_job(request, pk):
    """What was invoiced for a job and paid on it; the desk takes a deposit here."""
    found = Job.objects.select_related("customer", "device__model")
    job = get_object_or_404(found, pk=pk)
    shop = request.shop
    balance = balance_of(job)
    written_in = balance.written_in(shop)
    is_refund = request.POST.get("way") == "back"
    typed = request.POST or None
    deposit_form = PaymentForm(
        None if is_refund else typed, written_in=written_in, left=None, prefix="in"
    )
    refund_form = PaymentForm(
        typed if is_refund else None,
        written_in=written_in,
        left=balance.deposit,
        prefix="back",
    )
    sent = refund_form if is_refund else deposit_form
    if sent.is_valid():
        done = attempt(
            request,
            sent,
            record_deposit,
            job,
            field="amount",
            **sent.payment(-1 if is_refund else 1),
            stamp=Stamp.of(request),
        )
        if done:
            number = done.result.receipt.full_number
            said = payment_message(done.result, shop)
            messages.success(request, f"{said} Receipt {number} is below.")
            return redirect("invoices:for_job", pk)
    bills = job.invoices.for_list().order_by("id")
    is_billed = any(not (b.is_credit_note or b.is_credited) for b in bills)
    return render(
        request,
        "billing/invoices/for_job.html",
        {
            "job": job,
            "balance": balance,
            "owed_back": -balance.owed,
            "agreed": agreed_price(job, shop=shop),
            "written_in": written_in,
            "bills": bills,
            "payments": job.payments.for_list(),
            "may_take": not is_billed and job.state != states.HANDED_OVER,
            "may_bill": not is_billed
            and job.state in (states.READY, states.HANDED_OVER),
            "takes": deposit_form,
            "gives": refund_form,
            "forms": [deposit_form, refund_form],
        },
    )


@require_GET
def paper(request, pk):
    """The document as it was stored when the invoice was issued."""
    invoice = get_object_or_404(Invoice, pk=pk)
    return pdf_response(invoice.pdf, name=invoice.full_number)


def ubl(request, pk):
    """The UBL file as it was stored; a press of the button makes it, once."""
    if request.method == "POST":
        invoice = _invoice(pk)
        if attempt(request, None, issuing.store_ubl, invoice, stamp=Stamp.of(request)):
            messages.success(request, "E-invoice created and stored with the invoice.")
        return redirect(invoice)
    found = EInvoice.objects.select_related("invoice").defer("invoice__pdf")
    stored = get_object_or_404(found, invoice=pk)
    return download(bytes(stored.file), name=str(stored))


def receipt(request, pk):
    """The receipt as it was stored; a press of the button makes it, once."""
    payment = get_object_or_404(Payment, pk=pk)
    if request.method == "POST":
        if attempt(request, None, store_receipt, payment, stamp=Stamp.of(request)):
            return redirect("invoices:receipt", pk)
        return redirect("invoices:for_job", payment.job_id)
    stored = get_object_or_404(Receipt, payment=payment)
    return pdf_response(stored.pdf, name=stored.full_number)
