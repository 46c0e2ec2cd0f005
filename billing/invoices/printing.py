"""Invoice and credit note on paper."""

from datetime import datetime

from billing.invoices.models import Invoice, InvoiceLine
from repairs.jobs.models import Job
from shopdesk.money import Totals
from shopdesk.printing import render_pdf
from shopdesk.shop.models import Shop


def invoice_paper(
    invoice: Invoice,
    *,
    lines: list[InvoiceLine],
    totals: Totals,
    job: Job,
    shop: Shop,
    made_at: datetime,
    paid=None,
    means: str = "",
) -> bytes:
    """The paper of a bill that is about to be kept; `paid` is what was paid with it."""
    return render_pdf(
        "billing/invoices/paper.html",
        {
            "shop": shop,
            "invoice": invoice,
            "lines": lines,
            "totals": totals,
            "several_rates": len(totals.groups) > 1,
            "written_in": invoice.written_in(shop),
            "job": job,
            "device": job.device,
            "paid": paid,
            "means": means,
            "left": invoice.gross - (paid or 0),
        },
        size=shop.paper,
        made_at=made_at,
    )
