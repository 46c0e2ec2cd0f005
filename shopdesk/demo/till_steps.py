"""The till of the demo shop: deposits, invoices, reminders, credit notes, day closes.

Whatever takes a number or moves money waits for its day, as numbers follow the days.
"""

from collections.abc import Callable, Mapping
from decimal import Decimal

from billing.day_close.actions import close_day
from billing.day_close.queries import open_tills
from billing.einvoice.en16931 import Party
from billing.handover import actions as handover
from billing.handover.shipping import (
    CERTIFICATE,
    INVOICE,
    NO_BATTERY,
    SOUND,
    TAKEN_OUT,
    HandoverDetails,
)
from billing.handover.shipping import POST as BY_POST
from billing.invoices.crediting import issue_credit_note
from billing.invoices.draft import draft_invoice
from billing.invoices.issuing import issue_invoice, store_ubl
from billing.invoices.models import Invoice, Payment
from billing.invoices.payments import record_deposit, record_payment
from billing.quotes.models import LineKind
from billing.reminders.actions import send_reminder
from billing.reminders.papers import default_text
from repairs.jobs.models import Job
from shopdesk.demo.facts import KINDS, words
from shopdesk.demo.quote_steps import SIGNATURE
from shopdesk.demo.story import Story, step
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

FLOAT = Decimal(100)
"""The opening float of the till."""
CARRIER = "Osterham Parcels"
COMPANIES = words("company")

# --- deposits -------------------------------------------------------------------------


@step
def deposit(story: Story, job: Job, days: int, how: str) -> None:
    """Take a deposit by cash or card when the till reaches that day."""
    story.at_till(days - 2, 12, story.counter, _take_deposit, job, how)


def _take_deposit(story: Story, stamp: Stamp, job: Job, means: str) -> None:
    record_deposit(job, amount=Decimal(30), means=means, key=story.key(), stamp=stamp)


# --- handover -------------------------------------------------------------------------


def hand_over(story: Story, job: Job, plan: Mapping[str, str]) -> None:
    """Hand the device over on its planned day.

    `share` of the invoice is paid then by `means`; `then` names what happens to the
    invoice afterwards.
    """
    days = int(plan["handed_over"])
    if einvoice := plan["einvoice"]:
        customer = job.customer
        customer.einvoice, customer.country = einvoice, "GB"
        customer.company = customer.company or COMPANIES[einvoice == "ubl"]
        customer.save(update_fields=["einvoice", "country", "company"])
    story.at_till(days, 16, story.counter, _hand_over, job, plan)


def _hand_over(story: Story, stamp: Stamp, job: Job, plan: Mapping[str, str]) -> None:
    due = draft_invoice(job, on=stamp.on, shop=Shop.current()).amount_due
    invoice = handover.hand_over(
        job,
        version=None,
        stamp=stamp,
        paid=(due * Decimal(plan["share"])).quantize(Decimal("0.01")),
        means=plan["means"],
        key=story.key(),
        details=_handover_details(story, job, plan["leaves"]),
    )
    if plan["einvoice"] == "ubl":
        store_ubl(invoice, stamp=stamp)
    if plan["then"]:
        AFTERWARDS[plan["then"]](story, invoice, int(plan["handed_over"]))


def _handover_details(story: Story, job: Job, leaves: str) -> HandoverDetails:
    if leaves != "posted":
        signature = SIGNATURE if leaves == "signed" else ""
        return HandoverDetails(to=job.customer.name, signature=signature)
    battery = SOUND if KINDS[job.device.model.kind].runs_on == "battery" else NO_BATTERY
    return HandoverDetails(
        how=BY_POST,
        carrier=CARRIER,
        number="" if job.has_swollen_battery else "OP 4471 0926",
        grams=story.pick.randrange(600, 2900, 50),
        battery=TAKEN_OUT if job.has_swollen_battery else battery,
        mail={INVOICE, CERTIFICATE},
    )


# --- after handover -------------------------------------------------------------------


def _reminded(story: Story, invoice: Invoice, left: int) -> None:
    """Remind twice, the second time with a fee."""
    story.at_till(left - 16, 10, story.owner, _remind, invoice, 0)
    story.at_till(left - 27, 10, story.owner, _remind, invoice, 5)


def _remind(story: Story, stamp: Stamp, invoice: Invoice, fee: int) -> None:
    send_reminder(
        invoice,
        stamp=stamp,
        text=default_text(Shop.current()),
        fee=Decimal(fee),
        mail=True,
    )


def _credited_in_part(story: Story, invoice: Invoice, left: int) -> None:
    story.at_till(left - 2, 14, story.owner, _credit_a_quarter, invoice)


def _credit_a_quarter(story: Story, stamp: Stamp, invoice: Invoice) -> None:
    """Credit a quarter of the labour, and refund it."""
    line = invoice.lines.filter(kind=LineKind.LABOUR).first()
    issue_credit_note(
        invoice,
        why="It took a day longer than agreed: a quarter of the labour is credited.",
        stamp=stamp,
        quantities={line.pk: line.quantity / 4},
    )
    balance = Invoice.objects.get(pk=invoice.pk).balance
    _pay_by_card(story, invoice, balance, stamp)


def _reinvoiced(story: Story, invoice: Invoice, left: int) -> None:
    story.at_till(left - 1, 14, story.counter, _issue_to_company, invoice)


def _issue_to_company(story: Story, stamp: Stamp, invoice: Invoice) -> None:
    issue_credit_note(invoice, why="To be made out to the company.", stamp=stamp)
    buyer = Party(COMPANIES[2], invoice.buyer_address, "GB")
    issue_invoice(invoice.job, buyer=buyer, stamp=stamp)


AFTERWARDS: dict[str, Callable[[Story, Invoice, int], None]] = {
    "reminded": _reminded,
    "credited_in_part": _credited_in_part,
    "reinvoiced": _reinvoiced,
}


def _pay_by_card(story: Story, invoice: Invoice, amount: Decimal, stamp: Stamp) -> None:
    record_payment(invoice, amount=amount, means="card", key=story.key(), stamp=stamp)


def pay_a_part(story: Story, stamp: Stamp) -> None:
    """Pay ten more on the invoice of which half was paid in cash."""
    half = Payment.objects.filter(means="cash", invoice__isnull=False)
    invoice = half.order_by("id").first().invoice
    _pay_by_card(story, invoice, Decimal(10), stamp)


def close_till(story: Story, stamp: Stamp, missing: Decimal = Decimal(0)) -> None:
    """Close the till in the evening, and remove all cash but the float."""
    close = open_tills(day=stamp.on, shop=Shop.current())[0].close
    opening = FLOAT if close.opening is None else close.opening
    counted = opening + close.cash - missing
    close_day(
        stamp.on,
        counted=counted,
        stamp=stamp,
        opening=opening,
        cash_removed=max(counted - FLOAT, Decimal(0)),
        why="A coin may have rolled under the counter." if missing else "",
    )
