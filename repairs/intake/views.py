"""The counter: a device comes in, and its papers go out."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET

from repairs.faults.cautions import cautions
from repairs.intake import actions
from repairs.intake.context import BookIn
from repairs.intake.forms import ArriveForm, CodeForm, LabelForm
from repairs.intake.printing import label_pdf, slip_pdf
from repairs.intake.queries import names_so_far
from repairs.intake.steps import BOOK
from repairs.jobs import states
from repairs.jobs.actions import show_code as show
from repairs.jobs.models import Job, NotYet
from repairs.jobs.sealed import BrokenSeal
from shopdesk.printing import PaperFailed
from shopdesk.shop.models import Shop
from shopdesk.staff.middleware import may


def _desk(request, **how):
    is_sent = request.method == "POST"
    return BookIn(
        request.POST if is_sent else request.GET,
        is_sent=is_sent,
        shop=Shop.current(),
        on=timezone.localdate(),
        **how,
    )


@sensitive_post_parameters("access_code")
def book_in(request):
    """One screen: whom, what, the complaint. All but the last press only fill it in."""
    desk = _desk(request)
    done = desk.step == BOOK and Job.objects.filter(key=desk.key).first()
    if done:
        return _sent_before(request, done)
    if desk.step == BOOK and desk.is_valid():
        try:
            return _booked_in(request, desk)
        except NotYet as refusal:
            desk.job_form.add_error(None, str(refusal))
    template = "_book_in.html" if request.htmx else "book_in.html"
    facts = {"desk": desk, "forms": desk.forms, "names": names_so_far()}
    return render(request, f"repairs/intake/{template}", facts)


def _booked_in(request, desk):
    customer = desk.new_or_chosen_customer()
    device = desk.new_or_chosen_device(customer)
    told = desk.job_form.cleaned_data
    before = device.owner if device.pk else customer
    job, is_new = actions.book_in(
        desk.key,
        customer=customer,
        device=device,
        job=desk.job_form.save(commit=False),
        is_expected=told["is_expected"],
        against=desk.against,
        code=told["access_code"],
        on=desk.on,
        by=request.user,
    )
    if not is_new:
        return _sent_before(request, job)
    if before != job.customer:
        messages.warning(
            request,
            f"The device was {before}’s. It is now {job.customer}’s, and its history"
            " went with it.",
        )
    return redirect("intake:booked", job.pk)


def _sent_before(request, job):
    messages.warning(request, f"This form was sent before: it is job {job.number}.")
    return redirect("intake:booked", job.pk)


@require_GET
def find_customer(request):
    """Those found while one types: by the words in the box, or alike a new one."""
    desk = _desk(request, is_typing=True)
    desk.look_for_people()
    template = "_found.html" if "who" in request.GET else "_alike.html"
    return render(request, f"repairs/intake/{template}", {"desk": desk})


@require_GET
def find_device(request):
    """What is known of the serial in the box: a device with its past, or near ones."""
    desk = _desk(request, is_typing=True)
    desk.look_for_device()
    return render(request, "repairs/intake/_seen.html", {"desk": desk})


def booked(request, pk):
    """A job that was booked in: its number, its papers, and what comes next."""
    job = _job(pk)
    code = getattr(job, "access_code", None)
    facts = {"job": job, "code": code, "decision": job.decision}
    facts["cautions"] = cautions(job=job)
    facts["sizes"] = LabelForm.SIZES
    facts["may_see_code"] = may(request.user, "intake:show_code")
    return render(request, "repairs/intake/booked.html", facts)


def arrive(request, pk):
    """An announced device is unpacked."""
    job = _job(pk)
    form = ArriveForm(request.POST or None, instance=job)
    if job.state != states.EXPECTED:
        messages.warning(request, f"Job {job.number} is here already.")
        return redirect("intake:booked", job.pk)
    if form.is_valid():
        try:
            actions.arrive(
                Job.objects.get(pk=pk),
                facts=form.cleaned_data,
                on=timezone.localdate(),
                by=request.user,
            )
        except states.WrongStep as refusal:
            messages.error(request, str(refusal))
        return redirect("intake:booked", job.pk)
    return render(request, "repairs/intake/arrive.html", {"job": job, "form": form})


@require_GET
def slip(request, pk):
    """The claim slip, on the shop's paper."""
    return _paper(request, pk, "slip", slip_pdf)


@require_GET
def label(request, pk):
    """The label that sticks to the device, as wide as the roll."""
    form = LabelForm(request.GET)
    size = form.cleaned_data["size"] if form.is_valid() else ""
    return _paper(request, pk, "label", label_pdf, size=size or LabelForm.SIZES[0])


def _paper(request, pk, name, make, **how):
    job = _job(pk)
    try:
        paper = make(job, **how)
    except PaperFailed as refusal:
        messages.error(request, str(refusal))
        return redirect("intake:booked", job.pk)
    answer = HttpResponse(paper, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}-{job.pk}.pdf"'
    return answer


@sensitive_post_parameters()
def show_code(request, pk):
    """The code of a device: once, with a reason, and then it is gone."""
    job = _job(pk)
    kept = getattr(job, "access_code", None)
    form, code = CodeForm(request.POST or None), ""
    if form.is_valid():
        try:
            code = show(
                job,
                why=form.cleaned_data["why"],
                at=timezone.now(),
                by=request.user,
            )
        except (NotYet, BrokenSeal) as refusal:
            form.add_error(None, str(refusal))
    facts = {"job": job, "form": form, "code": code, "kept": kept}
    return render(request, "repairs/intake/show_code.html", facts)


def _job(pk):
    jobs = Job.objects.select_related(
        "device__model", "customer", "booked_in_by", "access_code__shown_to"
    )
    return get_object_or_404(jobs, pk=pk)
