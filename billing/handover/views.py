"""The counter hands a device back: what was done, the bill, the money, the papers."""

from datetime import datetime, time

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from billing.handover import actions
from billing.handover.forms import HandBackForm, ParcelNumberForm
from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.handover.papers import warranty_certificate
from billing.handover.queries import post_cautions, repairs_told
from billing.invoices.actions import Refused, promised
from billing.invoices.payments.actions import cash_of
from billing.invoices.queries import bill_of
from billing.repair_form.models import RepairInformationForm
from repairs.faults.cautions import SHIPPING
from repairs.jobs import states
from repairs.jobs.models import Job, NotYet, Stale
from shopdesk.mail.actions import Unsendable
from shopdesk.papers.render import PaperFailed
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

POST = Job.CameBy.POST
REFUSALS = (NotYet, states.WrongStep, Stale, Refused, PaperFailed, Unsendable)


def _job(pk):
    found = Job.objects.select_related("customer", "device__model", "device__owner")
    return get_object_or_404(found, pk=pk)


def hand_over(request, pk):
    """One screen: what was done, what is promised, what is paid; one button for all."""
    job = _job(pk)
    if job.state == states.HANDED_OVER:
        if request.method == "POST":
            messages.warning(
                request, "This job was handed back already: nothing was booked twice."
            )
            return redirect("handover:hand_over", pk)
        return _done_page(request, job)
    if job.state != states.READY:
        return _refusal_page(request, job, actions.not_ready(job))
    shop = Shop.current()
    try:
        bill = bill_of(job, on=timezone.localdate(), shop=shop)
    except NotYet as refusal:
        return _refusal_page(request, job, str(refusal))
    written_in = Currency(bill.currency, shop.locale)
    told = repairs_told(job, on=timezone.localdate(), shop=shop)
    is_in_warranty = any(one.until for one in told)
    form = HandBackForm(
        request.POST if request.method == "POST" else None,
        written_in=written_in,
        left=bill.left,
        in_cash=cash_of(bill.left, currency=bill.currency, shop=shop),
        version=job.version,
        came_by=job.came_by,
        email=job.customer.email,
        is_in_warranty=is_in_warranty,
    )
    if form.is_valid():
        try:
            actions.hand_over(
                job,
                version=form.cleaned_data["version"],
                on=timezone.localdate(),
                at=timezone.now(),
                by=request.user,
                paid=form.cleaned_data["amount"],
                means=form.cleaned_data["means"],
                key=form.cleaned_data["key"],
                leaving=form.leaving(),
            )
        except Refused as refusal:
            form.add_error("amount", str(refusal))
        except REFUSALS as refusal:
            form.add_error(None, str(refusal))
            # Seen again with the next press, with what has changed in view.
            form.data = form.data.copy()
            form.data["version"] = job.version
        else:
            return redirect("handover:hand_over", pk)
    return render(
        request,
        "billing/handover/hand_over.html",
        {
            "job": job,
            "told": told,
            "is_in_warranty": is_in_warranty,
            "promised": promised(shop),
            "bill": bill,
            "bound_by": RepairInformationForm.objects.exceeded_by(
                bill.totals.gross, job=job
            ),
            "lines": list(zip(bill.lines, bill.totals.lines, strict=True)),
            "totals": bill.totals,
            "written_in": written_in,
            "cautions": post_cautions(job) if job.came_by == POST else None,
            "shipping": SHIPPING,
            "form": form,
        },
    )


def _refusal_page(request, job, why):
    return render(
        request, "billing/handover/not_ready.html", {"job": job, "why": why}, status=409
    )


def _done_page(request, job):
    """The papers, after the device has left."""
    shop = Shop.current()
    told = repairs_told(job, on=job.handed_over_on, shop=shop)
    invoice = job.invoices.for_list().standing().first()
    parcel = Parcel.objects.filter(job=job).defer("paper").first()
    return render(
        request,
        "billing/handover/done.html",
        {
            "job": job,
            "parcel": parcel,
            "collected": Collection.objects.filter(job=job).first(),
            "form": ParcelNumberForm(),
            "told": told,
            "is_in_warranty": any(one.until for one in told),
            "invoice": invoice,
            "written_in": invoice.written_in(shop) if invoice else None,
            "cautions": post_cautions(job) if parcel else None,
        },
    )


@require_GET
def cover(request, pk):
    """The cover certificate of a job that was handed back with cover."""
    job = _job(pk)
    if job.handed_over_on is None:
        raise Http404
    kept = WarrantyCertificate.objects.filter(job=job).first()
    if kept:
        return _pdf(kept.paper, f"cover-{job.number}")
    # A job from a history file: its certificate is made when it is asked for.
    shop = Shop.current()
    told = repairs_told(job, on=job.handed_over_on, shop=shop)
    if not any(one.until for one in told):
        raise Http404
    # The words that stood on the bill were promised; later ones were not.
    invoice = job.invoices.defer("paper").exclude(words="").order_by("id").first()
    try:
        pdf = warranty_certificate(
            job,
            told=told,
            words=invoice.words if invoice else promised(shop),
            shop=shop,
            made_at=_moment_of_handing_back(job),
        )
    except PaperFailed as failed:
        messages.error(request, str(failed))
        return redirect("handover:hand_over", pk)
    return _pdf(pdf, f"cover-{job.number}")


@require_GET
def parcel(request, pk):
    """The parcel note as it was made."""
    found = get_object_or_404(Parcel.objects.select_related("job"), job=pk)
    return _pdf(found.paper, f"parcel-{found.job.number}")


@require_POST
def parcel_number(request, pk):
    """The carrier's number, where it was not known when the device left."""
    found = get_object_or_404(Parcel.objects.defer("paper"), job=pk)
    form = ParcelNumberForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Write the parcel’s number; 60 characters at most.")
    elif found.add_number(form.cleaned_data["number"]):
        messages.success(request, "The parcel’s number is written down.")
    else:
        messages.error(request, "This parcel has a number already.")
    return redirect("handover:hand_over", pk)


def _pdf(paper, name):
    return HttpResponse(
        bytes(paper),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )


def _moment_of_handing_back(job):
    """A job from a history file has a day and no moment."""
    step = job.steps.filter(new=states.HANDED_OVER).last()
    if step:
        return step.made_at
    return timezone.make_aware(datetime.combine(job.handed_over_on, time()))
