"""What an accountant needs of a period: sales, tax, payments, deposits, day closes."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Sum

from billing.day_close import queries
from billing.invoices.models import DayClose, Invoice, Payment
from shopdesk import money
from shopdesk.shop import currencies

SALES = (
    *("number", "kind", "issued_on", "supplied_on", "job", "customer"),
    *("customer_tax_number", "tax_category", "tax_rate", "net", "tax", "gross"),
    "currency",
)
TAX = ("currency", "tax_category", "tax_rate", "net", "tax", "gross", "documents")
METHODS = (
    *("currency", "method", "invoices", "deposits", "refunds", "total"),
    *("cash_rounding", "count"),
)
DEPOSITS = ("job", "customer", "held", "currency")
CLOSES = (
    *("since", "day", "opening", "cash_taken", "expected", "counted", "difference"),
    *("removed", "closing_float", "reason", "currency"),
)


@dataclass(frozen=True)
class Accounts:
    """The accounts of the days `since` to `until`, each a list of rows by its columns.

    Sales have a row for each tax of each document and count on the day of issue,
    payments on the day for which they were counted: that of the day close.
    """

    sales: list[tuple]
    tax: list[tuple]
    payments: list[tuple]
    methods: list[tuple]
    deposits: list[tuple]
    closes: list[tuple]

    def sheets(self) -> dict[str, tuple[tuple, list[tuple]]]:
        """Return title, columns and rows of each sheet."""
        return {
            "Sales": (SALES, self.sales),
            "Tax": (TAX, self.tax),
            "Payments": (queries.HEADS, self.payments),
            "Payments by method": (METHODS, self.methods),
            "Deposits held": (DEPOSITS, self.deposits),
            "Day closes": (CLOSES, self.closes),
        }


def accounts_of(since: date, until: date) -> Accounts:
    """Return the accounts of a period, its first and last day included."""
    sales = list(_sales(since, until))
    return Accounts(
        sales=sales,
        tax=_tax(sales),
        payments=list(queries.rows_of(queries.payments_of(since, until))),
        methods=list(_methods(since, until)),
        deposits=list(_deposits(until)),
        closes=list(_closes(since, until)),
    )


def _sales(since: date, until: date) -> Iterator[tuple]:
    documents = (
        Invoice.objects.filter(issued_on__range=(since, until))
        .select_related("job", "credits")
        .defer("pdf", "credits__pdf")
        .prefetch_related("lines")
        .order_by("issued_on", "series", "number")
    )
    for document in documents:
        for group in document.totals().groups:
            yield (
                document.full_number,
                document.get_kind_display(),
                document.issued_on,
                document.supplied_on,
                document.job.number,
                document.buyer_name,
                document.buyer_tax_id,
                group.category,
                group.rate,
                group.net,
                group.tax,
                group.net + group.tax,
                document.currency,
            )


def _tax(sales: list[tuple]) -> list[tuple]:
    """Return the sums of sales by currency, tax category and rate."""
    sums: dict[tuple, list] = defaultdict(lambda: [Decimal(0), Decimal(0), set()])
    for sale in sales:
        row = dict(zip(SALES, sale, strict=True))
        found = sums[row["currency"], row["tax_category"], row["tax_rate"]]
        found[0] += row["net"]
        found[1] += row["tax"]
        found[2].add(row["number"])
    return [
        (*key, net, tax, net + tax, len(numbers))
        for key, (net, tax, numbers) in sorted(sums.items())
    ]


def _methods(since: date, until: date) -> Iterator[tuple]:
    used = queries.payments_of(since, until).order_by("currency")
    for currency in used.values_list("currency", flat=True).distinct():
        for row in queries.takings(since, until, currency=currency):
            places = currencies.places(currency)
            amounts = (row.invoices, row.deposits, row.refunds, row.total)
            yield (
                currency,
                row.label,
                *(money.rounded(amount, places=places) for amount in amounts),
                money.rounded(row.cash_rounding, places=places),
                row.count,
            )


def _deposits(until: date) -> Iterator[tuple]:
    """Yield the deposits of jobs that no invoice had used by the end of that day."""
    held = (
        Payment.objects.deposits()
        .filter(booked_on__lte=until)
        .order_by("job__number")
        .values_list("job__number", "job__customer__name", "currency")
        .annotate(held=Sum("amount"))
        .exclude(held=0)
    )
    for job, customer, currency, amount in held:
        places = currencies.places(currency)
        yield job, customer, money.rounded(amount, places=places), currency


def _closes(since: date, until: date) -> Iterator[tuple]:
    closes = DayClose.objects.filter(day__range=(since, until)).defer("pdf")
    for close in closes.order_by("day", "currency"):
        yield (
            close.since,
            close.day,
            close.opening,
            close.cash,
            close.expected,
            close.counted,
            close.difference,
            close.cash_removed,
            close.closing_float,
            close.why,
            close.currency,
        )
