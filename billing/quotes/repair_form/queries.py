"""What a form that was accepted binds the till to."""

from decimal import Decimal

from billing.quotes.changes.queries import accepted_quote, agreed_total
from billing.quotes.repair_form.models import RepairForm
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop


def bound_by(job: Job, *, gross: Decimal) -> RepairForm | None:
    """The accepted form whose price or maximum a bill of `gross` would exceed.

    What the customer agreed to afterwards comes on top of it.
    """
    form = job.repair_forms.exclude(accepted_at=None).defer("paper").first()
    quote = accepted_quote(job)
    if form is None or quote is None:
        return None
    places = quote.written_in(Shop.current()).places
    besides = (
        agreed_total(quote, places=places) - quote.chosen.totals(places=places).gross
    )
    return form if gross > form.ceiling + besides else None
