"""Money owed: who is late, and who is reminded."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST
from django_tables2 import RequestConfig

from billing.invoices.models import Invoice, Reminder
from billing.invoices.queries import sum_owed
from billing.invoices.refusals import Refused
from billing.reminders import actions
from billing.reminders.forms import RemindAllForm, RemindForm
from billing.reminders.papers import usual_words
from billing.reminders.queries import owed as owed_bills
from billing.reminders.queries import to_remind
from billing.reminders.tables import OwedTable
from shopdesk.mail.actions import Unsendable
from shopdesk.papers.render import PaperFailed
from shopdesk.shop.models import Shop

REFUSALS = (Refused, PaperFailed, Unsendable)
AT_ONCE = 50
"""So many reminders are made by one press: each is a paper to be drawn."""


@require_GET
def owed(request):
    """The bills with something left to pay."""
    on, shop = timezone.localdate(), Shop.current()
    rows = owed_bills()
    table = OwedTable(rows, on=on)
    RequestConfig(request).configure(table)
    return render(
        request,
        "billing/reminders/owed.html",
        {
            "table": table,
            "sums": sum_owed(rows, on=on, shop=shop),
            "due": to_remind(on=on, shop=shop).count(),
            "at_once": AT_ONCE,
            "form": RemindAllForm(),
        },
    )


def remind(request, pk):
    """Remind one customer of one bill."""
    found = Invoice.objects.for_list().select_related("customer", "job")
    invoice = get_object_or_404(found, pk=pk)
    shop, on = Shop.current(), timezone.localdate()
    form = RemindForm(
        request.POST if request.method == "POST" else None,
        written_in=invoice.written_in(shop),
        words=usual_words(shop),
        email=invoice.customer.email,
    )
    if form.is_valid():
        try:
            reminder = actions.remind(
                invoice,
                on=on,
                at=timezone.now(),
                by=request.user,
                **form.cleaned_data,
            )
        except REFUSALS as refusal:
            form.add_error(None, str(refusal))
        else:
            mailed = (
                f", and mailed to {reminder.mailed_to}" if reminder.mailed_to else ""
            )
            messages.success(request, f"Reminder {reminder.level} is made{mailed}.")
            return redirect(invoice)
    return render(
        request,
        "billing/reminders/remind.html",
        {
            "invoice": invoice,
            "days_late": invoice.days_late(on),
            "reminders": invoice.reminders.defer("paper"),
            "written_in": invoice.written_in(shop),
            "form": form,
        },
    )


@require_POST
def remind_all(request):
    """Remind all whose time has come; one that fails does not stop the others."""
    shop, on = Shop.current(), timezone.localdate()
    form = RemindAllForm(request.POST)
    wants_mail = form.is_valid() and form.cleaned_data["mail"]
    made = mailed = 0
    for invoice in to_remind(on=on, shop=shop)[:AT_ONCE]:
        try:
            reminder = actions.remind(
                invoice,
                on=on,
                at=timezone.now(),
                by=request.user,
                words=usual_words(shop),
                mail=wants_mail and bool(invoice.customer.email),
            )
        except REFUSALS as refusal:
            messages.error(request, f"{invoice.full_number}: {refusal}")
        else:
            made += 1
            mailed += bool(reminder.mailed_to)
    if made:
        messages.success(
            request,
            f"Reminders made: {made}, {mailed} of them mailed. The others wait on their"
            " bills to be printed.",
        )
    else:
        messages.warning(request, "Nobody’s time has come: no reminder was made.")
    return redirect("reminders:owed")


@require_POST
def let_go(request, pk):
    """Ask no longer for the fees of a bill's reminders."""
    invoice = get_object_or_404(Invoice.objects.defer("paper"), pk=pk)
    try:
        actions.waive_fees(
            invoice, on=timezone.localdate(), at=timezone.now(), by=request.user
        )
    except REFUSALS as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, "The fee is not asked for any longer.")
    return redirect(invoice)


@require_GET
def paper(request, pk):
    """The reminder as it was made."""
    found = Reminder.objects.select_related("invoice").defer("invoice__paper")
    reminder = get_object_or_404(found, pk=pk)
    name = f"{reminder.invoice.full_number}-reminder-{reminder.level}"
    return HttpResponse(
        bytes(reminder.paper),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )
