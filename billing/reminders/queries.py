"""Which bills are owed, and whose customer may be reminded."""

from datetime import date, timedelta

from django.db.models import IntegerField, Max, OuterRef, Q, Subquery, Value
from django.db.models.functions import Coalesce

from billing.invoices.models import Invoice, Reminder
from shopdesk.shop.models import Shop


def owed():
    """The bills with something left to pay, with what was reminded of each."""
    of_it = Reminder.objects.filter(invoice=OuterRef("pk")).order_by().values("invoice")
    return (
        Invoice.objects.for_list()
        .filter(owed__gt=0)
        .annotate(
            reminded=Coalesce(
                Subquery(of_it.annotate(n=Max("level")).values("n")),
                Value(0),
                output_field=IntegerField(),
            ),
            reminded_on=Subquery(of_it.annotate(n=Max("reminded_on")).values("n")),
        )
        .select_related("customer", "job")
        .order_by("due_on", "id")
    )


def to_remind(*, on: date, shop: Shop):
    """Those that are overdue, and whose last reminder is the shop's days ago."""
    waited = on - timedelta(days=shop.reminder_interval_days)
    return owed().filter(
        Q(due_on__lt=on) & (Q(reminded_on=None) | Q(reminded_on__lte=waited))
    )


def next_reminder(invoice: Invoice, *, shop: Shop) -> date:
    """The first day on which a reminder of this bill may go out."""
    last = invoice.reminders.order_by("-level").values_list("reminded_on").first()
    if last is None:
        return invoice.due_on + timedelta(days=1)
    return last[0] + timedelta(days=shop.reminder_interval_days)
