"""What a job's bill consists of, and what is owed on it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext

from billing.changes.models import ChangeLine
from billing.changes.queries import all_agreed
from billing.invoices.models import Invoice, InvoiceLine
from billing.quotes import states as quote_states
from billing.quotes.models import LineKind, Quote, QuoteLine
from repairs.jobs import states
from repairs.jobs.models import Job, NotYet
from shopdesk import money
from shopdesk.papers.render import document_language
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop
from shopdesk.shop.tax import Tax


@dataclass
class Bill:
    """A bill that is not issued yet: its lines, its sums, and what it rests on.

    `here` is the money that is here for it already: deposits, and what the shop owes on
    a bill of the same job that was taken back. `taxed_anew` are the lines whose tax is
    another on the day of supply than it was when they were offered, with what it was.
    """

    lines: list[InvoiceLine]
    totals: money.Totals
    currency: str
    prices_include_tax: bool
    quote: Quote | None = None
    taxed_anew: list[tuple[InvoiceLine, Tax]] = field(default_factory=list)
    here: Decimal = Decimal(0)

    @property
    def used(self) -> Decimal:
        """What of the money here goes to this bill."""
        return min(self.here, self.totals.gross)

    @property
    def left(self) -> Decimal:
        """What is left to pay when it is issued."""
        return self.totals.gross - self.used

    @property
    def over(self) -> Decimal:
        """What of the money here this bill does not need: the shop owes it."""
        return self.here - self.used


@dataclass(frozen=True)
class Balance:
    """Where a job stands with its customer, over all its bills and payments.

    `owed` is what the customer still owes; negative, what the shop owes. Before there
    is a bill nothing is owed, and `deposit` is what is here for it.
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


def balance_of(job: Job) -> Balance:
    """What the customer owes or is owed for this job, deposits included."""
    bills = job.invoices.with_balance().filter(kind=Invoice.Kind.INVOICE)
    bills = list(bills.defer("paper").order_by("id"))
    paid = job.payments.total()
    deposit, currency = deposits_of(job)
    on_bills = paid - deposit
    return Balance(
        billed=sum((bill.owed for bill in bills), on_bills),
        paid=paid,
        deposit=deposit,
        currency=bills[-1].currency if bills else currency or Shop.current().currency,
        is_billed=bool(bills),
    )


def deposits_of(job: Job) -> tuple[Decimal, str]:
    """The money on a job that no bill has used, and its currency where there is any."""
    rows = job.payments.deposits()
    here = rows.total()
    return here, rows.order_by("-id").values_list("currency")[0][0] if here else ""


def owed_back_on(job: Job, *, currency: str) -> list[tuple[Invoice | None, Decimal]]:
    """The customer's money that is here: deposits (None), then bills taken back."""
    here, its_currency = deposits_of(job)
    found: list[tuple[Invoice | None, Decimal]] = []
    if here > 0 and its_currency == currency:
        found.append((None, here))
    bills = job.invoices.unsettled().filter(owed__lt=0, currency=currency)
    return found + [(bill, -bill.owed) for bill in bills.defer("paper").order_by("id")]


def agreed_total(job: Job, *, shop: Shop) -> Decimal | None:
    """What the customer said yes to, tax included; None where that is not known yet."""
    if job.is_warranty_repair and job.approved_warranty_repair:
        return Decimal(0)
    quote = job.quotes.filter(state=quote_states.ACCEPTED).defer("paper").first()
    if quote is None:
        return None
    return _bill_agreed(job, quote, on=None, shop=shop).totals.gross


def bill_of(job: Job, *, on: date, shop: Shop) -> Bill:
    """What the job costs: what was agreed, nothing under cover, or the fee.

    `on` is the day of supply, whose tax holds. Raises NotYet for work that nobody
    agreed to pay and no cover bears.
    """
    with document_language(shop):
        bill = _bill_of(job, on=on, shop=shop)
    bill.here = sum(
        (sum_ for _, sum_ in owed_back_on(job, currency=bill.currency)), Decimal(0)
    )
    return bill


def _bill_of(job: Job, *, on: date, shop: Shop) -> Bill:
    quote = job.quotes.filter(state=quote_states.ACCEPTED).defer("paper").first()
    if job.outcome == states.DECLINED_BY_CUSTOMER and quote and quote.chosen.is_return:
        return _bill_agreed(job, quote, on=on, shop=shop)
    if job.outcome != states.FIXED:
        return _bill_without_repair(job, on, shop)
    if quote and not job.approved_warranty_repair:
        return _bill_agreed(job, quote, on=on, shop=shop)
    if job.is_warranty_repair:
        return _bill_under_cover(job, on, shop)
    raise NotYet(
        "Nobody said yes to a price for this work, and it is not under cover: open the"
        " job again and quote for it."
    )


def _bill_agreed(job: Job, quote: Quote, *, on: date | None, shop: Shop) -> Bill:
    """All that was agreed, with the tax of the day `on` where one is given."""
    lines = [_copied(line) for line in all_agreed(quote)]
    taxed_anew = _tax_anew(lines, on=on, shop=shop) if on else []
    bill = _bill(
        lines,
        currency=quote.currency,
        prices_include_tax=quote.prices_include_tax,
        shop=shop,
        quote=quote,
    )
    bill.taxed_anew = taxed_anew
    return bill


def _tax_anew(
    lines: list[InvoiceLine], *, on: date, shop: Shop
) -> list[tuple[InvoiceLine, Tax]]:
    """Give each line the rate of its own kind of tax on the day of supply."""
    changed = []
    for line in lines:
        held = shop.tax(on, line.tax_kind)
        if held.rate != line.tax_rate:
            before = Tax(line.tax_kind, line.tax_rate, line.tax_reason)
            changed.append((line, before))
            line.set_tax(held)
    return changed


def _bill(
    lines: Sequence[InvoiceLine],
    *,
    currency: str,
    prices_include_tax: bool,
    shop: Shop,
    quote: Quote | None = None,
) -> Bill:
    places = Currency(currency, shop.locale).places
    for position, line in enumerate(lines, 1):
        line.position = position
        line.reckon(places=places)
    return Bill(
        lines=list(lines),
        totals=money.totals(
            [line.as_money() for line in lines],
            places=places,
            prices_include_tax=prices_include_tax,
        ),
        currency=currency,
        prices_include_tax=prices_include_tax,
        quote=quote,
    )


def _copied(line: QuoteLine | ChangeLine) -> InvoiceLine:
    return InvoiceLine(
        kind=line.kind,
        text=line.text,
        quantity=line.quantity,
        price=line.price,
        tax_kind=line.tax_kind,
        tax_rate=line.tax_rate,
        tax_reason=line.tax_reason,
        repair_id=line.repair_id,
    )


def _line(kind: str, text: str, price: Decimal, held: Tax) -> InvoiceLine:
    line = InvoiceLine(
        kind=kind,
        text=text[:200],
        quantity=Decimal(1),
        price=price,
    )
    line.set_tax(held)
    return line


def _bill_under_cover(job: Job, on: date, shop: Shop) -> Bill:
    """All that was done, at no price: the customer sees the work, and pays nothing."""
    lines = []
    held = shop.tax(on, job.customer.tax_kind)
    repairs = job.repairs.filter(outcome=states.FIXED)
    for repair in repairs.select_related("fix").prefetch_related("parts_used__part"):
        said = gettext("{what}, under cover")
        text = said.format(what=repair.fix.name)
        lines.append(_line(LineKind.LABOUR, text, Decimal(0), held))
        for used in repair.parts_used.all():
            text = " ".join(filter(None, [used.part.name, used.part.value]))
            text = said.format(what=text)
            line = _line(LineKind.PART, text, Decimal(0), held)
            line.quantity = Decimal(used.quantity)
            lines.append(line)
    return _bill(
        lines,
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
        shop=shop,
    )


def _bill_without_repair(job: Job, on: date, shop: Shop) -> Bill:
    """No repair came of it: only the fee for finding the fault, if one was agreed."""
    fee = (
        Decimal(0) if job.is_warranty_repair else job.agreed_diagnosis_fee or Decimal(0)
    )
    held = shop.tax(on, job.customer.tax_kind)
    text = (
        gettext("Finding the fault") if fee else gettext("Looked at, nothing charged")
    )
    came_of_it = gettext(job.get_outcome_display())
    return _bill(
        [_line(LineKind.FEE, f"{text} ({came_of_it})", fee, held)],
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
        shop=shop,
    )


def sum_owed(bills, *, on: date, shop: Shop) -> list[tuple[Currency, Decimal, Decimal]]:
    """What `bills` (with their balance) ask together, and what of it is overdue.

    One row a currency, since a shop may have changed its own.
    """
    sums: dict[str, list[Decimal]] = {}
    for currency, owed, due_on in bills.values_list("currency", "owed", "due_on"):
        both = sums.setdefault(currency, [Decimal(0), Decimal(0)])
        both[0] += owed
        both[1] += owed if due_on < on else 0
    return [(Currency(code, shop.locale), *both) for code, both in sorted(sums.items())]
