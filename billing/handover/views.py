"""Staff pages for the handover: what was done, invoice, payment, documents."""

from datetime import datetime, time

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from billing.handover import actions
from billing.handover.forms import HandoverForm, ParcelNumberForm
from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.handover.papers import warranty_certificate
from billing.handover.queries import has_battery_hazard, repairs_with_warranty
from billing.handover.shipping import TAKEN_OUT
from billing.invoices.draft import draft_invoice
from billing.invoices.issuing import warranty_terms
from billing.invoices.payments import due_in_cash
from billing.repair_form.models import RepairInformationForm
from repairs.faults.cautions import SHIPPING, SWOLLEN_BATTERY
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.look.downloads import pdf_response
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp


def _job(pk):
    found = Job.objects.select_related("customer", "device__model", "device__owner")
    return get_object_or_404(found, pk=pk)


def hand_over(request, pk):
    """Show work, warranty and payment on one screen, and hand the device over."""
    job = _job(pk)
    if job.state == states.HANDED_OVER:
        if request.method == "POST":
            messages.warning(
                request,
                gettext(
                    "This job was already handed over. Nothing was recorded twice."
                ),
            )
            return redirect("handover:hand_over", pk)
        return _done_page(request, job)
    shop, on = request.shop, timezone.localdate()
    try:
        actions.check_ready(job)
        draft = draft_invoice(job, on=on, shop=shop)
    except RefusedError as refusal:
        context = {"job": job, "why": str(refusal)}
        return render(request, "billing/handover/not_ready.html", context, status=409)
    repairs = repairs_with_warranty(job, on=on, shop=shop)
    has_warranty = any(repair.warranty_until for repair in repairs)
    form = HandoverForm(
        request.POST or None,
        job=job,
        written_in=draft.written_in(shop),
        due=draft.amount_due,
        in_cash=due_in_cash(draft.amount_due, currency=draft.currency, shop=shop),
        has_warranty=has_warranty,
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
            details=form.details(),
        )
        if done:
            return redirect("handover:hand_over", pk)
        # The page now shows what has changed, so the next attempt is for this version.
        form.data = form.data.copy()
        form.data["version"] = job.version
    return render(
        request,
        "billing/handover/hand_over.html",
        {
            "job": job,
            "repairs": repairs,
            "has_warranty": has_warranty,
            "warranty_terms": warranty_terms(shop),
            "draft": draft,
            "exceeded_form": RepairInformationForm.objects.exceeded_by(
                draft.totals.gross, job=job
            ),
            "written_in": draft.written_in(shop),
            "form": form,
        }
        | _caution(job, is_shipped=job.came_by == Job.CameBy.POST),
    )


def _caution(job, *, is_shipped):
    """Return the cautions for shipping a device that has a dangerous battery."""
    return {
        "needs_caution": is_shipped
        and (job.has_swollen_battery or has_battery_hazard(job)),
        "swollen": SWOLLEN_BATTERY,
        "shipping": SHIPPING,
    }


def _done_page(request, job):
    """Show the documents after the handover."""
    shop = request.shop
    repairs = repairs_with_warranty(job, on=job.handed_over_on, shop=shop)
    invoice = job.invoices.for_list().in_force().first()
    parcel = Parcel.objects.filter(job=job).defer("pdf").first()
    return render(
        request,
        "billing/handover/done.html",
        {
            "job": job,
            "parcel": parcel,
            "collection": Collection.objects.filter(job=job).first(),
            "form": ParcelNumberForm(),
            "repairs": repairs,
            "has_warranty": any(repair.warranty_until for repair in repairs),
            "invoice": invoice,
            "written_in": invoice.written_in(shop) if invoice else None,
        }
        | _caution(job, is_shipped=parcel and parcel.battery != TAKEN_OUT),
    )


@require_GET
def certificate(request, pk):
    """Return the warranty certificate of a job that was handed over with warranty."""
    job = _job(pk)
    if job.handed_over_on is None:
        raise Http404
    name = f"warranty-{job.number}"
    stored = WarrantyCertificate.objects.filter(job=job).first()
    if stored:
        return pdf_response(stored.pdf, name=name)
    # The certificate of an imported job is made when first requested.
    shop = request.shop
    # The terms printed on the invoice were promised; later terms were not.
    invoice = job.invoices.defer("pdf").exclude(text="").order_by("id").first()
    done = attempt(
        request,
        None,
        warranty_certificate,
        job,
        on=job.handed_over_on,
        terms=invoice.text if invoice else warranty_terms(shop),
        shop=shop,
        made_at=_handover_moment(job),
    )
    if not done:
        return redirect("handover:hand_over", pk)
    if done.result is None:
        raise Http404
    return pdf_response(done.result, name=name)


@require_GET
def parcel(request, pk):
    """Return the packing slip as stored."""
    found = get_object_or_404(Parcel.objects.select_related("job"), job=pk)
    return pdf_response(found.pdf, name=f"parcel-{found.job.number}")


@require_POST
def parcel_number(request, pk):
    """Add the parcel number if it was not known at handover."""
    found = get_object_or_404(Parcel.objects.defer("pdf"), job=pk)
    form = ParcelNumberForm(request.POST)
    if not form.is_valid():
        messages.error(
            request, gettext("Enter a parcel number of at most 60 characters.")
        )
    elif attempt(request, None, found.add_number, form.cleaned_data["number"]).result:
        messages.success(request, gettext("Parcel number saved."))
    else:
        messages.error(request, gettext("This parcel already has a number."))
    return redirect("handover:hand_over", pk)


def _handover_moment(job):
    """Return the moment of handover; imported jobs have only its day."""
    step = job.transitions.filter(to_state=states.HANDED_OVER).last()
    if step:
        return step.made_at
    return timezone.make_aware(datetime.combine(job.handed_over_on, time()))
