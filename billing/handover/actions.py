"""Hand over a device: invoice, payment, warranty, documents and status together."""

from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext

from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.handover.papers import packing_slip, warranty_certificate
from billing.handover.queries import has_battery_hazard
from billing.handover.shipping import (
    CERTIFICATE,
    INVOICE,
    HandoverDetails,
    shipping_problem,
)
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice
from repairs.jobs import states, workflow
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.mail.actions import write
from shopdesk.papers.models import stored_fields
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

PDF = "application/pdf"


@transaction.atomic
def hand_over(
    job: Job,
    *,
    version: int | None,
    stamp: Stamp,
    paid: Decimal = Decimal(0),
    means: str = "",
    key: UUID | None = None,
    details: HandoverDetails | None = None,
) -> Invoice | None:
    """Hand the device over; return its invoice, or None if it was handed over before.

    `version` is the version of the job that staff saw: an invoice that has changed
    since is not issued.
    """
    details = details or HandoverDetails()
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state == states.HANDED_OVER:
        return None
    check_ready(job)
    if problem := shipping_problem(
        details,
        is_swollen=job.has_swollen_battery,
        has_battery=has_battery_hazard(job),
    ):
        raise RefusedError(problem)
    shop = Shop.current()
    with workflow.locked_for_change(job, version=version, stamp=stamp):
        workflow.hand_over(job, stamp=stamp, shop=shop)
        invoice = issue_invoice(job, stamp=stamp, paid=paid, means=means, key=key)
        certificate = _certify(job, terms=invoice.text, stamp=stamp, shop=shop)
        if details.is_posted:
            _ship(job, details, stamp=stamp, shop=shop)
        elif details.to:
            Collection.objects.create(
                job=job,
                to=details.to,
                signature=details.signature,
                at=stamp.at,
                given_by=stamp.by,
            )
        if details.mail:
            _mail(job, invoice, certificate, details, stamp=stamp, shop=shop)
        return invoice


def check_ready(job: Job) -> None:
    """Raise unless the bench has closed the job."""
    if job.state != states.READY:
        raise RefusedError(
            gettext(
                "Job {number} is {state}. Close the job at the bench before handover."
            ).format(number=job.number, state=job.get_state_display())
        )


def _certify(
    job: Job, *, terms: str, stamp: Stamp, shop: Shop
) -> WarrantyCertificate | None:
    pdf = warranty_certificate(
        job, on=stamp.on, terms=terms, shop=shop, made_at=stamp.at
    )
    if pdf is None:
        return None
    return WarrantyCertificate.objects.create(job=job, **stored_fields(pdf))


def _ship(job: Job, details: HandoverDetails, *, stamp: Stamp, shop: Shop):
    customer = job.customer
    if not customer.address.strip():
        raise RefusedError(
            gettext(
                "Add a postal address to the customer record, or choose collection."
            )
        )
    if not details.carrier:
        raise RefusedError(gettext("Enter the carrier."))
    parcel = Parcel(
        job=job,
        to="\n".join(filter(None, [customer.company, customer.name, customer.address])),
        carrier=details.carrier,
        number=details.number,
        grams=details.grams,
        battery=details.battery,
        sent_on=stamp.on,
        sent_by=stamp.by,
    )
    parcel.keep(packing_slip(parcel, shop=shop, made_at=stamp.at))
    parcel.save(force_insert=True)


def _mail(job, invoice, certificate, details, *, stamp, shop) -> None:
    attachments = []
    with document_language(shop):
        if INVOICE in details.mail:
            attachments.append((f"{invoice.full_number}.pdf", PDF, bytes(invoice.pdf)))
        if CERTIFICATE in details.mail and certificate:
            name = gettext("warranty-{number}.pdf").format(number=job.number)
            attachments.append((name, PDF, bytes(certificate.pdf)))
        subject = gettext("Your {device}: documents for job {number}")
        enclosed = gettext("Your documents are attached.")
        handover = _handover_text(details)
    write(
        job.customer.email,
        subject=subject.format(device=job.device.model, number=job.number),
        text=f"{handover} {enclosed}\n\n{shop.name}",
        attachments=attachments,
        about=reverse("handover:hand_over", args=[job.pk]),
        stamp=stamp,
    )


def _handover_text(details: HandoverDetails) -> str:
    """Return a sentence for the customer on how the device was handed over."""
    if not details.is_posted:
        return gettext("Thank you for collecting your device.")
    if not details.number:
        return gettext("Your device was shipped today with {carrier}.").format(
            carrier=details.carrier
        )
    return gettext(
        "Your device was shipped today with {carrier}, parcel number {number}."
    ).format(carrier=details.carrier, number=details.number)
