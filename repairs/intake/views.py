"""The counter: a device is booked in and its documents are printed."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET

from repairs.faults.cautions import cautions
from repairs.intake import actions
from repairs.intake.booking import BOOK, Booking
from repairs.intake.forms import ArriveForm, CodeForm
from repairs.intake.papers import LABEL_SIZES, render_label_pdf, render_slip_pdf
from repairs.intake.queries import name_suggestions
from repairs.jobs import states
from repairs.jobs.access_codes import show_access_code, times_shown
from repairs.jobs.diagnosis_fee import fee_with_tax
from repairs.jobs.models import Job
from shopdesk.look.downloads import pdf_response
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff.permissions import can_open
from shopdesk.stamp import Stamp


@sensitive_post_parameters("access_code")
def book_in(request):
    """One screen: customer, device, complaint. Only its last button books in."""
    booking = Booking(request, on=timezone.localdate()).press()
    if booking.step == BOOK:
        job, is_new = Job.objects.filter(key=booking.key).first(), False
        if job is None and booking.is_valid():
            job, is_new = _book_in(request, booking)
        if job is not None:
            if not is_new:
                messages.warning(request, f"Already booked in as job {job.number}.")
            return redirect("intake:booked", job.pk)
    template = "_book_in.html" if request.htmx else "book_in.html"
    facts = {"booking": booking, "forms": booking.forms}
    facts["name_suggestions"] = name_suggestions
    return render(request, f"repairs/intake/{template}", facts)


def _book_in(request, booking):
    customer, device = booking.new_or_chosen()
    before = device.owner if device.pk else customer
    form = booking.job_form
    booked = attempt(
        request,
        form,
        actions.book_in,
        booking.key,
        customer=customer,
        device=device,
        job=form.save(commit=False),
        is_expected=form.cleaned_data["is_expected"],
        earlier_repair=booking.earlier_repair,
        access_code=form.cleaned_data["access_code"],
        stamp=Stamp.of(request),
    )
    job, is_new = booked.result or (None, False)
    if is_new and before != job.customer:
        messages.warning(
            request, f"The owner of the device was changed: {before} → {job.customer}."
        )
    return job, is_new


@require_GET
def find_customer(request):
    """Customers found while the query is typed, or similar to a new one."""
    booking = Booking(request, on=timezone.localdate()).suggest_customers()
    template = "_found.html" if "query" in request.GET else "_duplicates.html"
    return render(request, f"repairs/intake/{template}", {"booking": booking})


@require_GET
def find_device(request):
    """The device of the serial number in the box with its past, or similar ones."""
    booking = Booking(request, on=timezone.localdate()).recognize_device()
    return render(request, "repairs/intake/_device_match.html", {"booking": booking})


def booked(request, pk):
    """A job that was booked in: its number, documents and next steps."""
    job = _job(pk)
    code = getattr(job, "access_code", None)
    facts = {"job": job, "code": code, "decision": job.decision}
    facts["cautions"] = cautions(job=job)
    facts["fee"] = fee_with_tax(job, on=job.booked_in_on, shop=request.shop)
    facts["sizes"] = list(LABEL_SIZES)
    facts["may_see_code"] = can_open(request.user, "intake:show_code")
    return render(request, "repairs/intake/booked.html", facts)


def record_arrival(request, pk):
    """An expected device is unpacked."""
    job = _job(pk)
    form = ArriveForm(request.POST or None, instance=job)
    if job.state != states.EXPECTED:
        messages.warning(request, f"Job {job.number} has already arrived.")
        return redirect("intake:booked", job.pk)
    if form.is_valid():
        attempt(
            request,
            None,
            actions.record_arrival,
            Job.objects.get(pk=pk),  # the form has changed its own copy
            facts=form.cleaned_data,
            stamp=Stamp.of(request),
        )
        return redirect("intake:booked", job.pk)
    return render(
        request, "repairs/intake/record_arrival.html", {"job": job, "form": form}
    )


@require_GET
def slip(request, pk):
    """The claim slip."""
    return _pdf(request, pk, "slip", render_slip_pdf, shop=request.shop)


@require_GET
def label(request, pk):
    """The label of the device, in the size of the roll."""
    size = request.GET.get("size")
    if size not in LABEL_SIZES:
        size = next(iter(LABEL_SIZES))
    return _pdf(request, pk, "label", render_label_pdf, size=size)


def _pdf(request, pk, name, render_pdf, **facts):
    job = _job(pk)
    rendered = attempt(request, None, render_pdf, job, **facts)
    if not rendered:
        return redirect("intake:booked", job.pk)
    return pdf_response(rendered.result, name=f"{name}-{job.pk}")


@sensitive_post_parameters()
def show_code(request, pk):
    """The access code of a device, shown each time with a reason."""
    job = _job(pk)
    stored = getattr(job, "access_code", None)
    form, code = CodeForm(request.POST or None), ""
    if form.is_valid():
        facts = {"why": form.cleaned_data["reason"], "stamp": Stamp.of(request)}
        code = attempt(request, form, show_access_code, job, **facts).result
    facts = {"job": job, "form": form, "code": code, "stored": stored}
    facts["shown"] = times_shown(job)
    return render(request, "repairs/intake/show_code.html", facts)


def _job(pk):
    jobs = Job.objects.select_related(
        "device__model", "customer", "booked_in_by", "access_code"
    )
    return get_object_or_404(jobs, pk=pk)
