"""What the invoice of a job will contain, before it is issued."""

from collections.abc import Collection, Sequence
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
from shopdesk.shop.currencies import InCurrency
from shopdesk.shop.models import Shop
from shopdesk.shop.tax import Tax, TaxRules, held


@dataclass
class InvoiceDraft(InCurrency):
    """An invoice that is not issued yet: its lines, totals and quote.

    `deposits` is the customer's credit: deposits, and refunds due on credited invoices
    of the same job. `tax_changes` are the lines whose tax rate on the supply date
    differs from the quote, each with the tax of the quote.
    """

    lines: Sequence[InvoiceLine]
    currency: str
    prices_include_tax: bool
    quote: Quote | None = None
    tax_changes: list[tuple[InvoiceLine, Tax]] = field(default_factory=list)
    deposits: Decimal = Decimal(0)
    totals: money.Totals = field(init=False)

    def __post_init__(self) -> None:
        for position, line in enumerate(self.lines, 1):
            line.position = position
            line.calculate(places=self.places)
        self.totals = money.totals(
            [line.as_money() for line in self.lines],
            places=self.places,
            prices_include_tax=self.prices_include_tax,
        )

    @property
    def deposits_used(self) -> Decimal:
        return min(self.deposits, self.totals.gross)

    @property
    def amount_due(self) -> Decimal:
        """Return the balance due once it is issued."""
        return self.totals.gross - self.deposits_used

    @property
    def overpaid(self) -> Decimal:
        """Return the part of the deposits that this invoice does not use, to be
        refunded.
        """
        return self.deposits - self.deposits_used


def agreed_price(job: Job, *, shop: Shop) -> Decimal | None:
    """Return the price the customer accepted, incl. tax; None if not known yet."""
    if job.is_warranty_repair and job.approved_warranty_repair:
        return Decimal(0)
    quote = _accepted_quote(job)
    if quote is None:
        return None
    return _draft_agreed(quote, on=None, shop=shop).totals.gross


def draft_invoice(job: Job, *, on: date, shop: Shop) -> InvoiceDraft:
    """Return the invoice to issue: what was agreed, or the diagnosis fee only.

    A repair under warranty is free of charge; without a repair only the diagnosis fee
    is charged. `on` is the supply date, whose tax rates apply.

    Raises: RefusedError if no price was accepted and it is no warranty repair.
    """
    with document_language(shop):
        draft = _draft(job, on=on, shop=shop)
    credit = available_credit(job, currency=draft.currency)
    draft.deposits = sum((amount for _, amount in credit), Decimal(0))
    return draft


def _draft(job: Job, *, on: date, shop: Shop) -> InvoiceDraft:
    quote = _accepted_quote(job)
    is_fixed = job.outcome == states.FIXED
    if quote and (
        (is_fixed and not job.approved_warranty_repair)
        or (
            job.outcome == states.DECLINED_BY_CUSTOMER
            and quote.accepted_option.is_no_repair
        )
    ):
        return _draft_agreed(quote, on=on, shop=shop, job=job if is_fixed else None)
    if not is_fixed:
        lines = [_diagnosis_line(job)]
    elif job.is_warranty_repair:
        lines = _warranty_lines(job, only=job.covered_repairs)
    else:
        raise RefusedError(
            gettext(
                "No price has been accepted and this is not a warranty repair. Reopen"
                " the job and send a quote."
            )
        )
    _set_usual_tax(lines, job, rules=shop.tax_rules(on))
    return InvoiceDraft(lines, shop.currency, shop.prices_include_tax)


def _accepted_quote(job: Job) -> Quote | None:
    return job.quotes.filter(state=quote_states.ACCEPTED).defer("pdf").first()


def _draft_agreed(
    quote: Quote, *, on: date | None, shop: Shop, job: Job | None = None
) -> InvoiceDraft:
    """Return all that was agreed, with the tax rates of the day `on` if given.

    With `job`, also what was repaired on it under warranty, free of charge.
    """
    lines = [InvoiceLine.copied(line) for line in all_agreed(quote)]
    tax_changes = []
    if on is not None:
        rules = shop.tax_rules(on)
        tax_changes = _apply_tax_rates(lines, rules=rules)
        if job is not None:
            agreed = {line.repair_id for line in lines}
            free = _warranty_lines(job, only=job.covered_repairs - agreed)
            _set_usual_tax(free, job, rules=rules)
            lines += free
    return InvoiceDraft(
        lines, quote.currency, quote.prices_include_tax, quote, tax_changes
    )


def _set_usual_tax(lines: Sequence[InvoiceLine], job: Job, *, rules: TaxRules) -> None:
    for line in lines:
        line.set_tax(rules.of(line.kind, job.customer.as_buyer))


def _apply_tax_rates(
    lines: Sequence[InvoiceLine], *, rules: TaxRules
) -> list[tuple[InvoiceLine, Tax]]:
    """Give each line the tax rate of its kind on the supply date."""
    changed = []
    for line in lines:
        tax = held(rules.in_force, line.tax_kind)
        if tax.rate != line.tax_rate:
            changed.append((line, line.charged_tax))
            line.set_tax(tax)
    return changed


def _warranty_lines(job: Job, *, only: Collection[int]) -> list[InvoiceLine]:
    """Return free lines for these repairs, so that the customer sees the work."""
    lines = []
    text = gettext("{what}, under warranty")
    repairs = job.repairs.filter(outcome=states.FIXED, pk__in=only)
    for repair in repairs.select_related("fix").prefetch_related("parts_used__part"):
        lines.append(_free_line(LineKind.LABOUR, text.format(what=repair.fix.name)))
        for used in repair.parts_used.all():
            name = " ".join(filter(None, [used.part.name, used.part.value]))
            line = _free_line(LineKind.PART, text.format(what=name))
            line.quantity = Decimal(used.quantity)
            lines.append(line)
    return lines


def _free_line(kind: str, text: str) -> InvoiceLine:
    return InvoiceLine(kind=kind, text=text[:200], price=Decimal(0))


def _diagnosis_line(job: Job) -> InvoiceLine:
    """Return the line of the diagnosis fee; free if none was agreed."""
    fee = None if job.is_warranty_repair else job.agreed_diagnosis_fee
    text = gettext("Diagnosis") if fee else gettext("Inspection, no charge")
    outcome = gettext(job.get_outcome_display())
    line = _free_line(LineKind.FEE, f"{text} ({outcome})")
    line.price = fee or Decimal(0)
    return line
