"""Staff pages for outstanding invoices and reminders."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from billing.invoices.balance import outstanding_totals
from billing.invoices.models import Invoice, Reminder
from billing.reminders import actions
from billing.reminders.forms import AllRemindersForm, ReminderForm
from billing.reminders.papers import default_text
from billing.reminders.tables import OutstandingTable
from shopdesk.errors import RefusedError
from shopdesk.look.downloads import pdf_response
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.sent_forms.once import act_once
from shopdesk.stamp import Stamp

BATCH_SIZE = 50
"""Most reminders created by one request, as each renders a document."""


@require_GET
def outstanding(request):
    """List the invoices with a balance due."""
    on, shop = timezone.localdate(), request.shop
    invoices = actions.outstanding_invoices()
    return list_page(
        request,
        "billing/reminders/outstanding.html",
        OutstandingTable(invoices, on=on),
        totals=outstanding_totals(invoices, on=on, shop=shop),
        due_count=actions.due_for_reminder(on=on, shop=shop).count(),
        batch_size=BATCH_SIZE,
        form=AllRemindersForm(),
    )


def remind(request, pk):
    """Send a reminder of one invoice."""
    found = Invoice.objects.for_list().select_related("customer", "job")
    invoice = get_object_or_404(found, pk=pk)
    shop = request.shop
    form = ReminderForm(
        request.POST or None,
        written_in=invoice.written_in(shop),
        initial={"text": default_text(shop)},
        email=invoice.customer.email,
    )
    if form.is_valid():
        done = attempt(
            request,
            form,
            actions.send_reminder,
            invoice,
            stamp=Stamp.of(request),
            **form.cleaned_data,
        )
        if done:
            to = done.result.mailed_to
            created = (
                gettext("Reminder {level} created and emailed to {address}.")
                if to
                else gettext("Reminder {level} created.")
            )
            messages.success(
                request, created.format(level=done.result.level, address=to)
            )
            return redirect(invoice)
    return render(
        request,
        "billing/reminders/remind.html",
        {
            "invoice": invoice,
            "days_late": invoice.days_late(timezone.localdate()),
            "reminders": invoice.reminders.defer("pdf"),
            "written_in": invoice.written_in(shop),
            "form": form,
        },
    )


@require_POST
def remind_all(request):
    """Send all reminders that are due; a failure does not stop the others."""
    shop = request.shop
    form = AllRemindersForm(request.POST)
    wants_mail = form.is_valid() and form.cleaned_data["mail"]
    stamp = Stamp.of(request)
    due = actions.due_for_reminder(on=stamp.on, shop=shop)
    created = []
    for invoice in due[:BATCH_SIZE]:
        try:
            created.append(
                actions.send_reminder(
                    invoice,
                    text=default_text(shop),
                    mail=wants_mail and bool(invoice.customer.email),
                    stamp=stamp,
                )
            )
        except RefusedError as refusal:
            messages.error(request, f"{invoice.full_number}: {refusal}")
    with act_once(request):
        # Each reminder is a transaction of its own, and none is created twice, as an
        # invoice with a new one is not due. The key only keeps this response.
        pass
    if created:
        mailed = sum(bool(reminder.mailed_to) for reminder in created)
        messages.success(
            request,
            gettext(
                "Reminders created: {created}, of which {mailed} emailed."
                " The others can be printed from their invoices."
            ).format(created=len(created), mailed=mailed),
        )
    else:
        messages.warning(request, gettext("No reminders are due."))
    return redirect("reminders:outstanding")


@require_POST
def waive_fees(request, pk):
    """Waive the reminder fees of an invoice."""
    invoice = get_object_or_404(Invoice.objects.defer("pdf"), pk=pk)
    if attempt(request, None, actions.waive_fees, invoice, stamp=Stamp.of(request)):
        messages.success(request, gettext("Reminder fees waived."))
    return redirect(invoice)


@require_GET
def paper(request, pk):
    """Return the reminder as stored."""
    found = Reminder.objects.select_related("invoice").defer("invoice__pdf")
    reminder = get_object_or_404(found, pk=pk)
    name = f"{reminder.invoice.full_number}-reminder-{reminder.level}"
    return pdf_response(reminder.pdf, name=name)
