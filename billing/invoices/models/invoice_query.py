"""Queries for invoices: search, balance, overdue, in force."""

from datetime import date
from decimal import Decimal

from django.db.models import (
    Case,
    Exists,
    ExpressionWrapper,
    F,
    OuterRef,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from billing.invoices.models.numbered import NumberedQuerySet
from repairs.customers.models import Customer
from shopdesk.fields import MoneyField
from shopdesk.lookup import narrowed

SETTLES = ExpressionWrapper(F("amount") + F("rounding"), output_field=MoneyField())
"""The amount by which a payment reduces a balance: the money plus cash rounding."""
ZERO = Value(Decimal(0), output_field=MoneyField())


def _sum_of(model, name: str, field):
    """Return the sum of `field` over the related rows `name` of a `model`, or 0."""
    relation = model._meta.get_field(name)
    key = relation.field.name
    rows = relation.related_model.objects.filter(**{key: OuterRef("pk")})
    summed = rows.order_by().values(key).annotate(n=Sum(field))
    return Coalesce(Subquery(summed.values("n"), output_field=MoneyField()), ZERO)


class InvoiceQuerySet(NumberedQuerySet):
    search_index = "search_invoice"

    def search(self, query: str):
        """Return invoices that `query` may mean: by number, or by name.

        The name is that on the invoice or in the customer record. Each is found by an
        index of its own, so that no documents are loaded.
        """
        invoices = self.model.objects.order_by()
        found = invoices.numbered_like(query).values("pk")
        if any(character.isalpha() for character in query):
            people = Customer.objects.containing(query).order_by().values("pk")
            named = narrowed(invoices, "search_buyer", query)
            found = found.union(
                named.filter(buyer_name__icontains=query).values("pk"),
                invoices.filter(customer__in=people).values("pk"),
            )
        return self.filter(pk__in=found).best_of(query)

    def with_balance(self):
        """Annotate `owed`: the balance due, negative if a refund is due.

        A credit note owes nothing itself: it lowers the balance of its invoice. Once an
        invoice is fully credited, its reminder fees are no longer owed either.
        """
        notes = self.model.objects.filter(credits=OuterRef("pk"))
        found = self.annotate(
            is_credited=Exists(notes.filter(is_whole=True)),
            fees=_sum_of(self.model, "reminders", "fee"),
        )
        balance = ExpressionWrapper(
            F("gross")
            + _sum_of(self.model, "credit_notes", "gross")
            + Case(
                When(is_credited=True, then=ZERO),
                default=F("fees"),
                output_field=MoneyField(),
            )
            - _sum_of(self.model, "payments", SETTLES),
            output_field=MoneyField(),
        )
        return found.annotate(
            owed=Case(
                When(kind=self.model.Kind.CREDIT_NOTE, then=ZERO),
                default=balance,
                output_field=MoneyField(),
            )
        )

    def for_list(self):
        """Fetch all that one row of a list shows, without the documents."""
        return self.defer("pdf").with_balance().select_related("job")

    def unsettled(self):
        """Return invoices with a balance due or a refund due."""
        return self.with_balance().exclude(owed=0)

    def settled(self):
        return self.with_balance().filter(owed=0, kind=self.model.Kind.INVOICE)

    def overdue(self, on: date):
        """Return invoices with a balance due after their due date."""
        return self.with_balance().filter(owed__gt=0, due_on__lt=on)

    def in_force(self):
        """Return invoices that are not fully credited."""
        return self.filter(kind=self.model.Kind.INVOICE).exclude(
            credit_notes__is_whole=True
        )
