"""What the invoice of a job will contain, before it is issued."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext

from billing.changes.queries import all_agreed
from billing.invoices.balance import available_credit
from billing.invoices.models import InvoiceLine
from billing.quotes import states as quote_states
from billing.quotes.models import LineKind, Quote
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk import money
from shopdesk.errors import RefusedError
from shopdesk.papers.render import document_language
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop
from shopdesk.shop.tax import Tax


@dataclass
class InvoiceDraft:
    """An invoice that is not issued yet: its lines, its totals and its quote.

    `deposits` is the customer's money that is here already: deposits, and what the shop
    owes on a credited invoice of the same job. `tax_changes` are the lines whose tax
    rate on the day of supply is not that of the quote, each with the tax of the quote.
    """

    lines: list[InvoiceLine]
    totals: money.Totals
    currency: str
    prices_include_tax: bool
    quote: Quote | None = None
    tax_changes: list[tuple[InvoiceLine, Tax]] = field(default_factory=list)
    deposits: Decimal = Decimal(0)

    @property
    def deposits_used(self) -> Decimal:
        return min(self.deposits, self.totals.gross)

    @property
    def amount_due(self) -> Decimal:
        """What is left to pay when it is issued."""
        return self.totals.gross - self.deposits_used

    @property
    def overpaid(self) -> Decimal:
        """What of the deposits this invoice does not need: the shop owes it."""
        return self.deposits - self.deposits_used


def agreed_price(job: Job, *, shop: Shop) -> Decimal | None:
    """What the customer accepted, tax included; None where that is not known yet."""
    if job.is_warranty_repair and job.approved_warranty_repair:
        return Decimal(0)
    quote = _accepted_quote(job)
    if quote is None:
        return None
    return _draft_agreed(quote, on=None, shop=shop).totals.gross


def draft_invoice(job: Job, *, on: date, shop: Shop) -> InvoiceDraft:
    """What was agreed; nothing under warranty; the diagnosis fee without a repair.

    `on` is the day of supply, whose tax rates apply. Raises RefusedError where
    there is no accepted price and no warranty.
    """
    with document_language(shop):
        draft = _draft(job, on=on, shop=shop)
    credit = available_credit(job, currency=draft.currency)
    draft.deposits = sum((amount for _, amount in credit), Decimal(0))
    return draft


def _draft(job: Job, *, on: date, shop: Shop) -> InvoiceDraft:
    quote = _accepted_quote(job)
    if (
        job.outcome == states.DECLINED_BY_CUSTOMER
        and quote
        and quote.accepted_option.is_return
    ):
        return _draft_agreed(quote, on=on, shop=shop)
    if job.outcome != states.FIXED:
        return _draft_without_repair(job, on=on, shop=shop)
    if quote and not job.approved_warranty_repair:
        return _draft_agreed(quote, on=on, shop=shop)
    if job.is_warranty_repair:
        return _draft_under_warranty(job, on=on, shop=shop)
    raise RefusedError(
        "No price has been accepted and this is not a warranty repair. Reopen the job"
        " and send a quote."
    )


def _accepted_quote(job: Job) -> Quote | None:
    return job.quotes.filter(state=quote_states.ACCEPTED).defer("pdf").first()


def _draft_agreed(quote: Quote, *, on: date | None, shop: Shop) -> InvoiceDraft:
    """All that was agreed, with the tax rates of the day `on` where one is given."""
    lines = [InvoiceLine.copied(line) for line in all_agreed(quote)]
    tax_changes = _apply_tax_rates(lines, on=on, shop=shop) if on else []
    draft = _draft_of(
        lines,
        currency=quote.currency,
        prices_include_tax=quote.prices_include_tax,
    )
    draft.quote = quote
    draft.tax_changes = tax_changes
    return draft


def _apply_tax_rates(
    lines: list[InvoiceLine], *, on: date, shop: Shop
) -> list[tuple[InvoiceLine, Tax]]:
    """Give each line the rate of its own kind of tax on the day of supply."""
    changed = []
    for line in lines:
        tax = shop.tax(on, line.tax_kind)
        if tax.rate != line.tax_rate:
            before = Tax(line.tax_kind, line.tax_rate, line.tax_reason)
            changed.append((line, before))
            line.set_tax(tax)
    return changed


def _draft_of(
    lines: Sequence[InvoiceLine], *, currency: str, prices_include_tax: bool
) -> InvoiceDraft:
    places = Currency(currency, "").places
    for position, line in enumerate(lines, 1):
        line.position = position
        line.calculate(places=places)
    return InvoiceDraft(
        lines=list(lines),
        totals=money.totals(
            [line.as_money() for line in lines],
            places=places,
            prices_include_tax=prices_include_tax,
        ),
        currency=currency,
        prices_include_tax=prices_include_tax,
    )


def _draft_at_todays_terms(
    job: Job, lines: Sequence[InvoiceLine], *, on: date, shop: Shop
) -> InvoiceDraft:
    """Lines that no quote has: in the shop's currency, with the customer's tax."""
    tax = shop.tax(on, job.customer.tax_kind)
    for line in lines:
        line.set_tax(tax)
    return _draft_of(
        lines, currency=shop.currency, prices_include_tax=shop.prices_include_tax
    )


def _draft_under_warranty(job: Job, *, on: date, shop: Shop) -> InvoiceDraft:
    """All that was done, at no price: the customer sees the work, and pays nothing."""
    lines = []
    text = gettext("{what}, under warranty")
    repairs = job.repairs.filter(outcome=states.FIXED)
    for repair in repairs.select_related("fix").prefetch_related("parts_used__part"):
        lines.append(_free_line(LineKind.LABOUR, text.format(what=repair.fix.name)))
        for used in repair.parts_used.all():
            name = " ".join(filter(None, [used.part.name, used.part.value]))
            line = _free_line(LineKind.PART, text.format(what=name))
            line.quantity = Decimal(used.quantity)
            lines.append(line)
    return _draft_at_todays_terms(job, lines, on=on, shop=shop)


def _free_line(kind: str, text: str) -> InvoiceLine:
    return InvoiceLine(kind=kind, text=text[:200], price=Decimal(0))


def _draft_without_repair(job: Job, *, on: date, shop: Shop) -> InvoiceDraft:
    """Only the diagnosis fee, if one was agreed."""
    fee = (
        Decimal(0) if job.is_warranty_repair else job.agreed_diagnosis_fee or Decimal(0)
    )
    text = gettext("Diagnosis") if fee else gettext("Inspection, no charge")
    outcome = gettext(job.get_outcome_display())
    line = _free_line(LineKind.FEE, f"{text} ({outcome})")
    line.price = fee
    return _draft_at_todays_terms(job, [line], on=on, shop=shop)
