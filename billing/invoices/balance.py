"""What the customer of a job owes, and what the shop owes back."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from billing.invoices.models import Invoice
from repairs.jobs.models import Job
from shopdesk.shop.currencies import Currency, InCurrency
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class JobBalance(InCurrency):
    """Total invoiced and paid on all invoices and payments of a job.

    `owed` is the balance due, negative if a refund is due. Before there is an invoice
    nothing is owed, and `deposit` is what was paid in advance.
    """

    invoiced: Decimal
    paid: Decimal
    deposit: Decimal
    currency: str
    is_invoiced: bool

    @property
    def owed(self) -> Decimal:
        return self.invoiced - self.paid if self.is_invoiced else Decimal(0)


def balance_of(job: Job) -> JobBalance:
    """Return the balance of the job, deposits included."""
    invoices = job.invoices.with_balance().filter(kind=Invoice.Kind.INVOICE)
    invoices = list(invoices.defer("pdf").order_by("id"))
    paid = job.payments.total()
    deposit, currency = deposits_of(job)
    if invoices:
        currency = invoices[-1].currency
    return JobBalance(
        invoiced=sum((invoice.owed for invoice in invoices), paid - deposit),
        paid=paid,
        deposit=deposit,
        currency=currency or Shop.current().currency,
        is_invoiced=bool(invoices),
    )


def deposits_of(job: Job) -> tuple[Decimal, str]:
    """Return the unused deposits of a job, and their currency if there are any."""
    rows = job.payments.deposits()
    total = rows.total()
    if not total:
        return total, ""
    return total, rows.order_by("-id").values_list("currency", flat=True)[0]


def available_credit(
    job: Job, *, currency: str
) -> list[tuple[Invoice | None, Decimal]]:
    """Return what can pay an invoice: deposits (None), then credited invoices."""
    deposit, its_currency = deposits_of(job)
    found: list[tuple[Invoice | None, Decimal]] = []
    if deposit > 0 and its_currency == currency:
        found.append((None, deposit))
    credited = job.invoices.with_balance().filter(owed__lt=0, currency=currency)
    for invoice in credited.defer("pdf").order_by("id"):
        found.append((invoice, -invoice.owed))
    return found


def outstanding_totals(
    invoices, *, on: date, shop: Shop
) -> list[tuple[Currency, Decimal, Decimal]]:
    """Return the total owed on `invoices` (`with_balance`), and how much is overdue.

    One row per currency, since the shop may have changed its currency.
    """
    sums: dict[str, list[Decimal]] = {}
    for currency, owed, due_on in invoices.values_list("currency", "owed", "due_on"):
        total = sums.setdefault(currency, [Decimal(0), Decimal(0)])
        total[0] += owed
        total[1] += owed if due_on < on else 0
    return [
        (Currency(code, shop.locale), *total) for code, total in sorted(sums.items())
    ]
