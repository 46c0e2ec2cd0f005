"""The form on paper, with the rows of Annex I in their order."""

from datetime import date, datetime

from billing.repair_form.models import RepairInformationForm
from billing.repair_form.terms import Terms
from shopdesk.papers.render import render_pdf
from shopdesk.shop.models import Shop


def render_form_pdf(
    form: RepairInformationForm,
    *,
    terms: Terms,
    issued_at: datetime,
    until: date | None,
    shop: Shop,
) -> bytes:
    """Render the form; without `until` it is marked as a draft."""
    return render_pdf(
        "billing/repair_form/paper.html",
        {
            "shop": shop,
            "form": form,
            "job": form.job,
            "terms": terms,
            "until": until,
            "issued_at": issued_at,
            "written_in": form.written_in(shop),
        },
        size=shop.paper,
        made_at=issued_at,
    )
