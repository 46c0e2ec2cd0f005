"""The money of one job: deposits, bills, what is owed either way."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from billing.invoices.forms import PaymentForm
from billing.invoices.models import Payment, Receipt
from billing.invoices.payments import actions
from billing.invoices.queries import agreed_total, balance_of
from billing.invoices.refusals import Refused
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.papers.render import PaperFailed
from shopdesk.shop.models import Shop

REFUSALS = (Refused, PaperFailed)


def for_job(request, pk):
    """What was taken on a job and billed for it; the desk takes a deposit here."""
    found = Job.objects.select_related("customer", "device__model")
    job = get_object_or_404(found, pk=pk)
    shop = Shop.current()
    balance = balance_of(job)
    written_in = balance.written_in(shop)
    asked = request.POST if request.method == "POST" else None
    is_back = asked is not None and asked.get("way") == "back"
    form = PaymentForm(
        None if is_back else asked, written_in=written_in, left=None, prefix="in"
    )
    back = PaymentForm(
        asked if is_back else None,
        written_in=written_in,
        left=balance.deposit,
        prefix="back",
    )
    sent = back if is_back else form
    if sent.is_valid():
        sign = -1 if is_back else 1
        try:
            payment = actions.deposit(
                job,
                amount=sign * sent.cleaned_data["amount"],
                means=sent.cleaned_data["means"],
                key=sent.cleaned_data["key"],
                on=timezone.localdate(),
                at=timezone.now(),
                by=request.user,
            )
        except REFUSALS as refusal:
            sent.add_error("amount", str(refusal))
        else:
            amount = actions.said(abs(payment.amount), payment.currency, shop)
            done = "paid back" if is_back else "taken"
            messages.success(
                request,
                f"{amount} {done}: receipt {payment.receipt.full_number} is below.",
            )
            return redirect("invoices:for_job", pk)
    bills = job.invoices.for_list().order_by("id")
    is_billed = any(not (b.is_credit_note or b.is_credited) for b in bills)
    return render(
        request,
        "billing/invoices/payments/for_job.html",
        {
            "job": job,
            "balance": balance,
            "owed_back": -balance.owed,
            "agreed": agreed_total(job, shop=shop),
            "written_in": written_in,
            "bills": bills,
            "payments": with_receipts(job.payments.all()),
            "may_take": not is_billed and job.state != states.HANDED_OVER,
            "may_bill": not is_billed
            and job.state in (states.READY, states.HANDED_OVER),
            "takes": form,
            "gives": back,
            "forms": [form, back],
        },
    )


def with_receipts(payments):
    """With who took them, on which bill, and the receipt, but no paper."""
    return payments.select_related("taken_by", "invoice", "receipt").defer(
        "invoice__paper", "receipt__paper"
    )


def receipt(request, pk):
    """The receipt as it was kept; a press of the button makes it, once."""
    payment = get_object_or_404(Payment, pk=pk)
    if request.method == "POST":
        try:
            actions.keep_receipt(payment, at=timezone.now())
        except REFUSALS as refusal:
            messages.error(request, str(refusal))
            return redirect(reverse("invoices:for_job", args=[payment.job_id]))
        return redirect("invoices:receipt", pk)
    kept = get_object_or_404(Receipt, payment=payment)
    name = kept.full_number
    return HttpResponse(
        bytes(kept.paper),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )
