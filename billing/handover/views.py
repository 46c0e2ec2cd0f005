"""The counter hands a device back: what was done, the bill, the money, the papers."""

from datetime import datetime, time

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from billing.handover import actions
from billing.handover.forms import HandBackForm, ParcelNumberForm
from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.handover.papers import warranty_certificate
from billing.handover.queries import post_cautions, repairs_told
from billing.invoices.draft import draft_invoice
from billing.invoices.issuing import warranty_terms
from billing.invoices.payments import due_in_cash
from billing.repair_form.models import RepairInformationForm
from repairs.faults.cautions import SHIPPING
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.look.downloads import pdf_response
from shopdesk.look.forms import attempt
from shopdesk.shop.currencies import Currency
from shopdesk.stamp import Stamp

POST = Job.CameBy.POST


def _job(pk):
    found = Job.objects.select_related("customer", "device__model", "device__owner")
    return get_object_or_404(found, pk=pk)


def hand_over(request, pk):
    """One screen: what was done, what is promised, what is paid; one button for all."""
    job = _job(pk)
    if job.state == states.HANDED_OVER:
        if request.method == "POST":
            messages.warning(
                request, "This job was already handed over. Nothing was recorded twice."
            )
            return redirect("handover:hand_over", pk)
        return _done_page(request, job)
    if job.state != states.READY:
        return _refusal_page(request, job, actions.not_ready(job))
    shop = request.shop
    try:
        draft = draft_invoice(job, on=timezone.localdate(), shop=shop)
    except RefusedError as refusal:
        return _refusal_page(request, job, str(refusal))
    written_in = Currency(draft.currency, shop.locale)
    told = repairs_told(job, on=timezone.localdate(), shop=shop)
    is_in_warranty = any(one.until for one in told)
    form = HandBackForm(
        request.POST or None,
        written_in=written_in,
        left=draft.amount_due,
        in_cash=due_in_cash(draft.amount_due, currency=draft.currency, shop=shop),
        version=job.version,
        came_by=job.came_by,
        email=job.customer.email,
        is_in_warranty=is_in_warranty,
    )
    if form.is_valid():
        done = attempt(
            request,
            form,
            actions.hand_over,
            job,
            version=form.cleaned_data["version"],
            stamp=Stamp.of(request),
            paid=form.cleaned_data["amount"],
            means=form.cleaned_data["means"],
            key=form.cleaned_data["key"],
            leaving=form.leaving(),
        )
        if done:
            return redirect("handover:hand_over", pk)
        # What has changed is in view now, so the next press may go by it.
        form.data = form.data.copy()
        form.data["version"] = job.version
    return render(
        request,
        "billing/handover/hand_over.html",
        {
            "job": job,
            "told": told,
            "is_in_warranty": is_in_warranty,
            "promised": warranty_terms(shop),
            "draft": draft,
            "bound_by": RepairInformationForm.objects.exceeded_by(
                draft.totals.gross, job=job
            ),
            "lines": list(zip(draft.lines, draft.totals.lines, strict=True)),
            "totals": draft.totals,
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
    shop = request.shop
    told = repairs_told(job, on=job.handed_over_on, shop=shop)
    invoice = job.invoices.for_list().standing().first()
    parcel = Parcel.objects.filter(job=job).defer("pdf").first()
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
    name = f"warranty-{job.number}"
    stored = WarrantyCertificate.objects.filter(job=job).first()
    if stored:
        return pdf_response(stored.pdf, name=name)
    # A job from a history file: its certificate is made when it is asked for.
    shop = request.shop
    told = repairs_told(job, on=job.handed_over_on, shop=shop)
    if not any(one.until for one in told):
        raise Http404
    # The words that stood on the bill were promised; later ones were not.
    invoice = job.invoices.defer("pdf").exclude(words="").order_by("id").first()
    done = attempt(
        request,
        None,
        warranty_certificate,
        job,
        told=told,
        words=invoice.words if invoice else warranty_terms(shop),
        shop=shop,
        made_at=_moment_of_handing_back(job),
    )
    if not done:
        return redirect("handover:hand_over", pk)
    return pdf_response(done.result, name=name)


@require_GET
def parcel(request, pk):
    """The parcel note as it was made."""
    found = get_object_or_404(Parcel.objects.select_related("job"), job=pk)
    return pdf_response(found.pdf, name=f"parcel-{found.job.number}")


@require_POST
def parcel_number(request, pk):
    """The carrier's number, where it was not known when the device left."""
    found = get_object_or_404(Parcel.objects.defer("pdf"), job=pk)
    form = ParcelNumberForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Enter a parcel number of at most 60 characters.")
    elif found.add_number(form.cleaned_data["number"]):
        messages.success(request, "Parcel number saved.")
    else:
        messages.error(request, "This parcel already has a number.")
    return redirect("handover:hand_over", pk)


def _moment_of_handing_back(job):
    """A job from a history file has a day and no moment."""
    step = job.steps.filter(new=states.HANDED_OVER).last()
    if step:
        return step.made_at
    return timezone.make_aware(datetime.combine(job.handed_over_on, time()))
