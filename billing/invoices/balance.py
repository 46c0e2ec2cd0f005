"""What the customer of a job owes, and what the shop owes back."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from billing.invoices.models import Invoice
from repairs.jobs.models import Job
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class JobBalance:
    """What was invoiced and paid over all invoices and payments of a job.

    `owed` is what the customer still owes; negative, what the shop owes. Before there
    is an invoice nothing is owed, and `deposit` is what was paid in advance.
    """

    billed: Decimal
    paid: Decimal
    deposit: Decimal
    currency: str
    is_billed: bool

    @property
    def owed(self) -> Decimal:
        return self.billed - self.paid if self.is_billed else Decimal(0)

    def written_in(self, shop: Shop) -> Currency:
        return Currency(self.currency, shop.locale)


def balance_of(job: Job) -> JobBalance:
    """What the customer owes or is owed for this job, deposits included."""
    bills = job.invoices.with_balance().filter(kind=Invoice.Kind.INVOICE)
    bills = list(bills.defer("pdf").order_by("id"))
    paid = job.payments.total()
    deposit, currency = deposits_of(job)
    on_bills = paid - deposit
    return JobBalance(
        billed=sum((bill.owed for bill in bills), on_bills),
        paid=paid,
        deposit=deposit,
        currency=bills[-1].currency if bills else currency or Shop.current().currency,
        is_billed=bool(bills),
    )


def deposits_of(job: Job) -> tuple[Decimal, str]:
    """The money on a job that no invoice has used, and its currency if there is any."""
    rows = job.payments.deposits()
    total = rows.total()
    if not total:
        return total, ""
    return total, rows.order_by("-id").values_list("currency", flat=True)[0]


def available_credit(
    job: Job, *, currency: str
) -> list[tuple[Invoice | None, Decimal]]:
    """The customer's money that is here: deposits (None), then credited invoices."""
    deposit, its_currency = deposits_of(job)
    found: list[tuple[Invoice | None, Decimal]] = []
    if deposit > 0 and its_currency == currency:
        found.append((None, deposit))
    bills = job.invoices.unsettled().filter(owed__lt=0, currency=currency)
    return found + [(bill, -bill.owed) for bill in bills.defer("pdf").order_by("id")]


def outstanding_totals(
    bills, *, on: date, shop: Shop
) -> list[tuple[Currency, Decimal, Decimal]]:
    """What `bills` (with their balance) ask together, and what of it is overdue.

    One row per currency, since a shop may have changed its own.
    """
    sums: dict[str, list[Decimal]] = {}
    for currency, owed, due_on in bills.values_list("currency", "owed", "due_on"):
        both = sums.setdefault(currency, [Decimal(0), Decimal(0)])
        both[0] += owed
        both[1] += owed if due_on < on else 0
    return [(Currency(code, shop.locale), *both) for code, both in sorted(sums.items())]
