"""Create reminders of overdue invoices: record, document and email together."""

from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import IntegerField, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext

from billing.invoices.coins import CashAmount
from billing.invoices.models import WAIVED, Invoice, Payment, Reminder
from billing.invoices.payments import create_payment
from billing.reminders.papers import (
    email_text,
    file_name,
    reminder_paper,
)
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import day
from shopdesk.mail.actions import write
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


def outstanding_invoices():
    """Return the invoices with a balance due, with their latest reminder."""
    last = Reminder.objects.filter(invoice=OuterRef("pk")).order_by("-level")[:1]
    return (
        Invoice.objects.for_list()
        .filter(owed__gt=0)
        .annotate(
            reminded=Coalesce(last.values("level"), 0, output_field=IntegerField()),
            reminded_on=Subquery(last.values("reminded_on")),
        )
        .select_related("customer", "job")
        .order_by("due_on", "id")
    )


def due_for_reminder(*, on: date, shop: Shop):
    """Return overdue invoices whose reminder interval has passed."""
    last_sent = on - timedelta(days=shop.reminder_interval_days)
    return outstanding_invoices().filter(
        Q(due_on__lt=on) & (Q(reminded_on=None) | Q(reminded_on__lte=last_sent))
    )


@transaction.atomic
def send_reminder(
    invoice: Invoice,
    *,
    stamp: Stamp,
    text: str,
    fee: Decimal = Decimal(0),
    mail: bool = False,
) -> Reminder:
    """Create the next reminder of an invoice, and email both if asked.

    A fee is added to the balance due. Submitting twice is refused, as the interval
    between two reminders has not passed.
    """
    Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.for_list().select_related("customer").get(pk=invoice.pk)
    shop = Shop.current()
    last = invoice.reminders.order_by("-level").first()
    _check_overdue(invoice, last=last, on=stamp.on, shop=shop)
    reminder = Reminder(
        invoice=invoice,
        level=last.level + 1 if last else 1,
        reminded_on=stamp.on,
        fee=fee,
        owed=invoice.owed + fee,
        text=text,
        mailed_to=invoice.customer.email if mail else "",
        made_at=stamp.at,
        made_by=stamp.by,
    )
    fees = invoice.fees + fee
    reminder.keep(reminder_paper(reminder, fees=fees, shop=shop, made_at=stamp.at))
    reminder.save(force_insert=True)
    if mail:
        _email(reminder, shop=shop, stamp=stamp)
    return reminder


def _check_overdue(
    invoice: Invoice, *, last: Reminder | None, on: date, shop: Shop
) -> None:
    if invoice.is_credit_note or invoice.owed <= 0:
        raise RefusedError(
            gettext("{invoice} has no balance due.").format(invoice=invoice.full_number)
        )
    if invoice.due_on >= on:
        raise RefusedError(
            gettext("{invoice} is not overdue. It is due on {day}.").format(
                invoice=invoice.full_number, day=day(invoice.due_on)
            )
        )
    next_on = last and last.reminded_on + timedelta(days=shop.reminder_interval_days)
    if next_on and on < next_on:
        raise RefusedError(
            gettext("The next reminder of {invoice} is possible on {day}.").format(
                invoice=invoice.full_number, day=day(next_on)
            )
        )


def _email(reminder: Reminder, *, shop: Shop, stamp: Stamp) -> None:
    invoice = reminder.invoice
    document = Invoice.objects.only("pdf").get(pk=invoice.pk).pdf
    subject, text = email_text(reminder, shop=shop)
    pdf = "application/pdf"
    write(
        reminder.mailed_to,
        subject=subject,
        text=text,
        attachments=[
            (file_name(reminder, shop=shop), pdf, bytes(reminder.pdf)),
            (f"{invoice.full_number}.pdf", pdf, bytes(document)),
        ],
        about=invoice.get_absolute_url(),
        stamp=stamp,
    )


@transaction.atomic
def waive_fees(invoice: Invoice, *, stamp: Stamp) -> Payment:
    """Waive the reminder fees that are still open on an invoice."""
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.for_list().get(pk=invoice.pk)
    waived = invoice.payments.filter(means=WAIVED).total()
    open_fees = min(invoice.fees - waived, invoice.owed)
    if open_fees <= 0:
        raise RefusedError(
            gettext("{invoice} has no open reminder fee.").format(
                invoice=invoice.full_number
            )
        )
    with document_language(Shop.current()):
        text = gettext("reminder fee")
    return create_payment(
        CashAmount(open_fees),
        job=job,
        invoice=invoice,
        currency=invoice.currency,
        means=WAIVED,
        text=text,
        stamp=stamp,
    )
