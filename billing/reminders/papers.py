"""The reminder as PDF, and its email."""

from datetime import datetime
from decimal import Decimal

from django.template.loader import render_to_string
from django.utils.translation import gettext

from billing.invoices.models import Reminder
from shopdesk.look.shop_formats import shop_text
from shopdesk.papers.render import document_language, render_pdf
from shopdesk.shop.models import Shop


def reminder_paper(
    reminder: Reminder, *, fees: Decimal, shop: Shop, made_at: datetime
) -> bytes:
    """`fees` are those of all reminders of the invoice, including this one."""
    invoice = reminder.invoice
    return render_pdf(
        "billing/reminders/paper.html",
        {
            "shop": shop,
            "reminder": reminder,
            "invoice": invoice,
            "fees": fees,
            "settled": invoice.gross - (reminder.owed - fees),
            "written_in": invoice.written_in(shop),
            "days_late": (reminder.reminded_on - invoice.due_on).days,
            "job": invoice.job,
        },
        size=shop.paper,
        made_at=made_at,
    )


def email_text(reminder: Reminder, *, shop: Shop) -> tuple[str, str]:
    """Return subject and text of the email."""
    invoice = reminder.invoice
    with document_language(shop):
        subject = (
            gettext("Payment reminder: invoice {number}")
            if reminder.level == 1
            else gettext("Reminder {level}: invoice {number}")
        )
        text = render_to_string(
            "billing/reminders/letter.txt",
            {
                "reminder": reminder,
                "invoice": invoice,
                "shop": shop,
                "written_in": invoice.written_in(shop),
            },
        )
    subject = subject.format(number=invoice.full_number, level=reminder.level)
    return subject, text.strip() + "\n"


def file_name(reminder: Reminder, *, shop: Shop) -> str:
    """Return the file name of the PDF in the email."""
    with document_language(shop):
        name = gettext("{number}-reminder-{level}.pdf")
    return name.format(number=reminder.invoice.full_number, level=reminder.level)


def default_text(shop: Shop) -> str:
    """Return the default text of a reminder."""
    with document_language(shop):
        return shop_text(shop, "reminder_text")
