"""The receipt: a small paper for money that changed hands."""

from datetime import datetime

from billing.invoices.models import Payment, Receipt
from repairs.jobs.models import Job
from shopdesk.papers.render import render_pdf
from shopdesk.shop.models import Shop


def receipt_paper(
    receipt: Receipt, *, payment: Payment, job: Job, shop: Shop, made_at: datetime
) -> bytes:
    return render_pdf(
        "billing/invoices/payments/paper.html",
        {
            "shop": shop,
            "receipt": receipt,
            "payment": payment,
            "amount": abs(payment.amount),
            "is_back": payment.amount < 0,
            "written_in": payment.written_in(shop),
            "job": job,
            "device": job.device,
            "customer": job.customer,
            "invoice": payment.invoice,
        },
        size=shop.paper,
        made_at=made_at,
    )
