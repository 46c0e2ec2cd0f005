"""The device leaves: bill, payment, cover, papers and the last step, or none of it."""

from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext

from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.handover.papers import parcel_note, warranty_certificate
from billing.handover.queries import post_cautions, repairs_told
from billing.handover.shipping import BILL, CERTIFICATE, HandoverDetails, forbidden
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice
from repairs.jobs import states, workflow
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.mail import actions as post
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
    leaving: HandoverDetails | None = None,
) -> Invoice | None:
    """Hand the device over; returns its bill, or None where it was handed back before.

    `version` is that of the job as the desk saw it: a bill that has changed since is
    not sprung on anybody.
    """
    leaving = leaving or HandoverDetails()
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state == states.HANDED_OVER:
        return None
    if job.state != states.READY:
        raise RefusedError(not_ready(job))
    cautions = post_cautions(job)
    why_not = forbidden(
        leaving, is_swollen=cautions.swollen, has_battery=cautions.battery
    )
    if why_not:
        raise RefusedError(why_not)
    shop = Shop.current()
    with workflow.changing(job, version=version, stamp=stamp):
        workflow.hand_over(job, stamp=stamp, shop=shop)
        invoice = issue_invoice(job, stamp=stamp, paid=paid, means=means, key=key)
        certificate = _certify(job, words=invoice.words, stamp=stamp, shop=shop)
        if leaving.is_posted:
            _post(job, leaving, stamp=stamp, shop=shop)
        elif leaving.to:
            Collection.objects.create(
                job=job,
                to=leaving.to,
                signature=leaving.signature,
                at=stamp.at,
                given_by=stamp.by,
            )
        if leaving.mail:
            _mail(job, invoice, certificate, leaving, stamp=stamp, shop=shop)
        return invoice


def not_ready(job: Job) -> str:
    """Why the device stays here, in a sentence."""
    return (
        f"Job {job.number} is {job.get_state_display()}. Close the job at the bench"
        " before handover."
    )


def _certify(
    job: Job, *, words: str, stamp: Stamp, shop: Shop
) -> WarrantyCertificate | None:
    told = repairs_told(job, on=stamp.on, shop=shop)
    if not any(one.until for one in told):
        return None
    paper = warranty_certificate(
        job, told=told, words=words, shop=shop, made_at=stamp.at
    )
    return WarrantyCertificate.objects.create(job=job, **stored_fields(paper))


def _post(job: Job, leaving: HandoverDetails, *, stamp: Stamp, shop: Shop):
    customer = job.customer
    if not customer.address.strip():
        raise RefusedError(
            "Add a postal address to the customer record, or choose collection."
        )
    if not leaving.carrier:
        raise RefusedError("Enter the carrier.")
    parcel = Parcel(
        job=job,
        to="\n".join(filter(None, [customer.company, customer.name, customer.address])),
        carrier=leaving.carrier,
        number=leaving.number,
        grams=leaving.grams,
        battery=leaving.battery,
        sent_on=stamp.on,
        sent_by=stamp.by,
    )
    parcel.keep(parcel_note(parcel, shop=shop, made_at=stamp.at))
    parcel.save(force_insert=True)


def _mail(job, invoice, certificate, leaving, *, stamp, shop) -> None:
    papers = []
    with document_language(shop):
        if BILL in leaving.mail:
            papers.append((f"{invoice.full_number}.pdf", PDF, bytes(invoice.pdf)))
        if CERTIFICATE in leaving.mail and certificate:
            name = gettext("warranty-{number}.pdf").format(number=job.number)
            papers.append((name, PDF, bytes(certificate.pdf)))
        subject = gettext("Your {device}: documents for job {number}")
        enclosed = gettext("Your documents are attached.")
        way = _way(leaving)
    post.write(
        job.customer.email,
        subject=subject.format(device=job.device.model, number=job.number),
        text=f"{way} {enclosed}\n\n{shop.name}",
        attachments=papers,
        about=reverse("handover:hand_over", args=[job.pk]),
        stamp=stamp,
    )


def _way(leaving: HandoverDetails) -> str:
    """How the device left, told to its customer."""
    if not leaving.is_posted:
        return gettext("Thank you for collecting your device.")
    if not leaving.number:
        return gettext("Your device was shipped today with {carrier}.").format(
            carrier=leaving.carrier
        )
    return gettext(
        "Your device was shipped today with {carrier}, parcel number {number}."
    ).format(carrier=leaving.carrier, number=leaving.number)
