"""The till of the demo shop: bills, money, reminders, credit notes, closed days."""

from collections.abc import Callable
from decimal import Decimal

from django.utils import timezone

from billing.handback.actions import hand_back
from billing.handback.leaving import (
    BILL,
    CERTIFICATE,
    NO_BATTERY,
    SOUND,
    TAKEN_OUT,
    Leaving,
)
from billing.handback.leaving import POST as BY_POST
from billing.invoices.actions import Buyer, credit, issue, keep_ubl, pay
from billing.invoices.day_close.actions import close_day
from billing.invoices.day_close.queries import open_till
from billing.invoices.models import Invoice, Payment
from billing.invoices.payments.actions import deposit
from billing.invoices.queries import bill_of
from billing.invoices.reminders.actions import remind
from billing.invoices.reminders.printing import usual_words
from billing.management.demo.mended import Mended
from billing.management.demo.offers import INK
from billing.management.demo.plan import End
from billing.quotes.models import LineKind
from repairs.history.demo import names
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop

FLOAT = Decimal(100)
"""What lay in the till before it was counted for the first time."""
WITH_BATTERY = ("laptop", "tablet", "handheld", "phone")
CARRIER = "Osterham Parcels"


class Till(Mended):
    """What is told of money waits for its day, so that numbers follow the days."""

    # --- before the bill ------------------------------------------------------------

    def awaits_parts(self, code: str, *, days: int) -> Job:
        """The part is ordered, since a deposit is here for it."""
        job = self.approved(code, days=days)
        self._wait(job, "parts")
        self._at_till(days - 2, 12, lambda: self._deposit(job, days - 2, "card"))
        return job

    def _deposit(self, job: Job, days: int, means: str) -> Payment:
        with self._at(days, 12):
            return deposit(
                job,
                amount=Decimal(30),
                means=means,
                key=self._key(),
                on=self._day(days),
                at=timezone.now(),
                by=self.counter,
            )

    # --- the device leaves ----------------------------------------------------------

    def handed_back(self, end: End) -> Job:
        """Ready; handed back when the till gets to that day, and what came of it."""
        job = getattr(self, end.verb)(end.code or self._any(), days=end.days)
        customer = job.customer
        if end.einvoice:
            customer.einvoice, customer.country = end.einvoice, "GB"
            company = names.COMPANIES[end.einvoice == "ubl"]
            customer.company = customer.company or company
            customer.save(update_fields=["einvoice", "country", "company"])
        if end.verb == "ready_with_more":
            days = end.days - 2
            self._at_till(days, 12, lambda: self._deposit(job, days, "cash"))
        self._at_till(end.back, 16, lambda: self._hand_back(job, end))
        return job

    def _hand_back(self, job: Job, end: End) -> None:
        with self._at(end.back, 16):
            on = self._day(end.back)
            left = bill_of(job, on=on, shop=Shop.current()).left
            invoice = hand_back(
                job,
                version=None,
                on=on,
                at=timezone.now(),
                by=self.counter,
                paid=(left * end.share).quantize(Decimal("0.01")),
                means=end.means,
                key=self._key(),
                leaving=self._leaving(job, end.leaves),
            )
            if end.einvoice == "ubl":
                keep_ubl(invoice, at=timezone.now())
        if end.then:
            then: Callable[[Invoice, int], None] = getattr(self, f"_{end.then}")
            then(invoice, end.back)

    def _leaving(self, job: Job, how: str) -> Leaving:
        if how == "posted":
            battery = SOUND if job.device.model.kind in WITH_BATTERY else NO_BATTERY
            return Leaving(
                how=BY_POST,
                carrier=CARRIER,
                number="" if job.has_swollen_battery else "OP 4471 0926",
                grams=self.pick.randrange(600, 2900, 50),
                battery=TAKEN_OUT if job.has_swollen_battery else battery,
                mail=frozenset({BILL, CERTIFICATE}),
            )
        ink = INK if how == "signed" else ""
        return Leaving(to=job.customer.name, signature=ink)

    # --- after it -------------------------------------------------------------------

    def _reminded(self, invoice: Invoice, back: int) -> None:
        """Twice; the second time with a fee."""
        for days, fee in ((back - 16, 0), (back - 27, 5)):
            self._at_till(days, 10, lambda d=days, f=fee: self._remind(invoice, d, f))

    def _remind(self, invoice: Invoice, days: int, fee: int) -> None:
        with self._at(days, 10):
            remind(
                invoice,
                on=self._day(days),
                at=timezone.now(),
                by=self.owner,
                words=usual_words(Shop.current()),
                fee=Decimal(fee),
                mail=True,
            )

    def _credited_in_part(self, invoice: Invoice, back: int) -> None:
        """A quarter of the labour was given back, and the money with it."""
        self._at_till(back - 2, 14, lambda: self._give_back(invoice, back - 2))

    def _give_back(self, invoice: Invoice, days: int) -> None:
        line = invoice.lines.filter(kind=LineKind.LABOUR).first()
        with self._at(days, 14):
            on, at = self._day(days), timezone.now()
            credit(
                invoice,
                why="It took a day longer than promised: a quarter of this comes off.",
                on=on,
                at=at,
                by=self.owner,
                back={line.pk: line.quantity / 4},
            )
            self._pay(invoice, Invoice.objects.get(pk=invoice.pk).balance, days, "card")

    def _billed_anew(self, invoice: Invoice, back: int) -> None:
        """The customer wanted it made out to the company."""
        self._at_till(back - 1, 14, lambda: self._bill_anew(invoice, back - 1))

    def _bill_anew(self, invoice: Invoice, days: int) -> None:
        with self._at(days, 14):
            on, at, by = self._day(days), timezone.now(), self.counter
            why = "To be made out to the company."
            credit(invoice, why=why, on=on, at=at, by=by)
            buyer = Buyer(names.COMPANIES[2], invoice.buyer_address, "GB")
            issue(invoice.job, on=on, at=at, by=by, buyer=buyer)

    def _pay(self, invoice: Invoice, amount: Decimal, days: int, means: str) -> Payment:
        return pay(
            invoice,
            amount=amount,
            means=means,
            key=self._key(),
            on=self._day(days),
            at=timezone.now(),
            by=self.counter,
        )

    def pay_a_part(self, *, days: int) -> None:
        """Ten more on the bill of which half was paid in cash."""

        def paid() -> None:
            with self._at(days, 11):
                half = Payment.objects.filter(means="cash", invoice__isnull=False)
                self._pay(
                    half.order_by("id").first().invoice, Decimal(10), days, "card"
                )

        self._at_till(days, 11, paid)

    def close(self, *, days: int, missing: Decimal = Decimal(0)) -> None:
        """The till is counted in the evening, and all but the float taken out."""
        self._at_till(days, 18, lambda: self._close_till(days, missing))

    def _close_till(self, days: int, missing: Decimal) -> None:
        with self._at(days, 18):
            day = self._day(days)
            till = open_till(day=day, shop=Shop.current())
            opening = FLOAT if till.opening is None else till.opening
            counted = opening + till.cash - missing
            close_day(
                day,
                counted=counted,
                on=day,
                at=timezone.now(),
                by=self.counter,
                opening=opening,
                taken_out=max(counted - FLOAT, Decimal(0)),
                why="A coin rolled under the bench." if missing else "",
            )
