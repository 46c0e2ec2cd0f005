"""Jobs of the demo shop that cost more than was agreed."""

from decimal import Decimal

from django.utils import timezone

from billing.management.demo.offers import Offers
from billing.quotes.changes import actions as changes
from billing.quotes.changes.models import ChangeLine, ChangeOrder
from billing.quotes.models import LineKind, Quote
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop


class Changes(Offers):
    """What came up during the work, and what the customer said to it."""

    def asks_for_more(self, code: str, *, days: int) -> Job:
        """The bench waits for the customer's answer to a change."""
        job = self.approved(code, days=days)
        self._change(job, days=days - 3)
        job.refresh_from_db()
        return job

    def _change(self, job: Job, *, days: int) -> ChangeOrder:
        line = ChangeLine(
            kind=LineKind.PART,
            text="Flat cable, torn where it folds",
            quantity=Decimal(1),
            price=Decimal("11.50"),
        )
        line.set_tax(Shop.current().tax(self._day(days), job.customer.tax_kind))
        with self._at(days, 10):
            return changes.record(
                job,
                why="With the case open, the flat cable beside it was found torn.",
                lines=[line],
                at=timezone.now(),
                by=self.bench,
            )

    def _answer(self, change: ChangeOrder, said: str, *, days: int) -> None:
        customer = change.quote.job.customer
        with self._at(days, 11):
            changes.answer(
                change,
                said=said,
                who=customer.name,
                how=Quote.How.PHONE,
                reached_at=customer.phone,
                why="" if said == "yes" else "Leave it as it is.",
                at=timezone.now(),
                by=self.counter,
            )

    def agreed_to_more(self, code: str, *, days: int) -> Job:
        """Mended, with the change that the customer agreed to."""
        job = self.approved(code, days=days)
        self._answer(self._change(job, days=days - 3), "yes", days=days - 3)
        job.refresh_from_db()
        return self._mend(job, days=days - 3)

    def refused_more(self, code: str, *, days: int) -> Job:
        """Mended without the change that the customer refused."""
        job = self.approved(code, days=days)
        self._answer(self._change(job, days=days - 3), "no", days=days - 3)
        job.refresh_from_db()
        return self._mend(job, days=days - 3)
