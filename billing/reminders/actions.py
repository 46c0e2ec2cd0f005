"""A customer is reminded of a bill: the row, the paper and the letter, or none."""

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from billing.invoices.models import LET_GO, Invoice, Payment, Reminder
from billing.invoices.payments.actions import book
from billing.invoices.payments.coins import Handed
from billing.invoices.refusals import Refused
from billing.reminders.papers import (
    file_name,
    letter_words,
    reminder_paper,
)
from billing.reminders.queries import next_reminder
from repairs.jobs.models import Job
from shopdesk.mail.actions import write
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import day


@transaction.atomic
def remind(
    invoice: Invoice,
    *,
    on: date,
    at: datetime,
    by,
    words: str,
    fee: Decimal = Decimal(0),
    mail: bool = False,
) -> Reminder:
    """Make the next reminder of a bill, and mail it with the bill where asked to.

    A fee is asked for besides what is owed. The same press twice is refused the second
    time, since the days between two reminders have not passed.
    """
    Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.for_list().select_related("customer").get(pk=invoice.pk)
    shop = Shop.current()
    _check(invoice, on=on, shop=shop)
    last = invoice.reminders.order_by("-level").first()
    to = invoice.customer.email if mail else ""
    reminder = Reminder(
        invoice=invoice,
        level=last.level + 1 if last else 1,
        reminded_on=on,
        fee=fee,
        owed=invoice.owed + fee,
        words=words,
        mailed_to=to,
        made_at=at,
        made_by=by,
    )
    fees = invoice.fees + fee
    reminder.keep(
        reminder_paper(reminder, invoice=invoice, fees=fees, shop=shop, made_at=at)
    )
    reminder.save(force_insert=True)
    if mail:
        _mail(reminder, invoice=invoice, to=to, shop=shop, at=at, by=by)
    return reminder


@transaction.atomic
def waive_fees(invoice: Invoice, *, on: date, at: datetime, by) -> Payment:
    """Ask no longer for the fees of reminders that are still open on a bill."""
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.for_list().get(pk=invoice.pk)
    gone = invoice.payments.filter(means=LET_GO).total()
    open_fees = min(invoice.fees - gone, invoice.owed)
    if open_fees <= 0:
        raise Refused(f"No fee is open on {invoice.full_number}.")
    return book(
        job,
        invoice=invoice,
        money=Handed(open_fees, Decimal(0)),
        currency=invoice.currency,
        means=LET_GO,
        on=on,
        at=at,
        by=by,
        words="fee of a reminder",
    )


def _check(invoice: Invoice, *, on: date, shop: Shop) -> None:
    if invoice.is_credit_note or invoice.owed <= 0:
        raise Refused(f"Nothing is owed on {invoice.full_number}.")
    if invoice.due_on >= on:
        raise Refused(
            f"{invoice.full_number} is not overdue: there is time until"
            f" {day(invoice.due_on)}."
        )
    first = next_reminder(invoice, shop=shop)
    if on < first:
        raise Refused(
            f"{invoice.full_number} was reminded of already: the next reminder may go"
            f" out on {day(first)}."
        )


def _mail(
    reminder: Reminder, *, invoice: Invoice, to: str, shop: Shop, at: datetime, by
) -> None:
    bill = Invoice.objects.only("paper").get(pk=invoice.pk).paper
    subject, text = letter_words(reminder, invoice=invoice, shop=shop)
    write(
        to,
        subject=subject,
        text=text,
        attachments=[
            (
                file_name(reminder, shop=shop),
                "application/pdf",
                bytes(reminder.paper),
            ),
            (f"{invoice.full_number}.pdf", "application/pdf", bytes(bill)),
        ],
        about=invoice.get_absolute_url(),
        at=at,
        by=by,
    )
