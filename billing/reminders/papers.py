"""The reminder on paper, and the words of the letter it is mailed with."""

from datetime import datetime
from decimal import Decimal

from django.template.loader import render_to_string
from django.utils.translation import gettext

from billing.invoices.models import Invoice, Reminder
from shopdesk.papers.render import document_language, render_pdf
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import shop_text


def reminder_paper(
    reminder: Reminder,
    *,
    invoice: Invoice,
    fees: Decimal,
    shop: Shop,
    made_at: datetime,
) -> bytes:
    """`fees` are those of all reminders of the bill, this one included."""
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


def letter_words(
    reminder: Reminder, *, invoice: Invoice, shop: Shop
) -> tuple[str, str]:
    """Subject and text of the mail."""
    with document_language(shop):
        subject = gettext("Reminder of invoice {number}")
        text = render_to_string(
            "billing/reminders/letter.txt",
            {
                "reminder": reminder,
                "invoice": invoice,
                "shop": shop,
                "written_in": invoice.written_in(shop),
            },
        )
    return subject.format(number=invoice.full_number), text.strip() + "\n"


def file_name(reminder: Reminder, *, shop: Shop) -> str:
    """What its paper is called in the mail."""
    with document_language(shop):
        name = gettext("{number}-reminder-{level}.pdf")
    return name.format(number=reminder.invoice.full_number, level=reminder.level)


def usual_words(shop: Shop) -> str:
    """What a reminder says where nobody writes otherwise."""
    with document_language(shop):
        return shop_text(shop, "reminder_text")
