"""The form on paper, with the rows of Annex I in their order."""

from datetime import date, datetime

from django.utils.translation import gettext

from billing.repair_form.models import RepairInformationForm
from shopdesk.papers.render import render_pdf
from shopdesk.shop.models import Shop


def render_form_pdf(
    form: RepairInformationForm, *, issued_at: datetime, until: date | None, shop: Shop
) -> bytes:
    """Render the form; without `until` it is marked as a draft."""
    return render_pdf(
        "billing/repair_form/paper.html",
        {
            "shop": shop,
            "form": form,
            "job": form.job,
            "until": until,
            "issued_at": issued_at,
            "written_in": form.written_in(shop),
        },
        size=shop.paper,
        made_at=issued_at,
    )


def file_name(form: RepairInformationForm) -> str:
    """Return the name of its PDF, in the language of papers."""
    return gettext("form-{number}.pdf").format(number=form.job.number)
