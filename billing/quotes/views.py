"""Quotes are drafted, sent, answered and revised."""

import re

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST
from django_tables2 import RequestConfig

from billing.quotes import answering, drafting, queries, sending
from billing.quotes.filters import QuoteFilter
from billing.quotes.forms import DraftForms, RecordAcceptanceForm, RecordDeclineForm
from billing.quotes.links import create_address
from billing.quotes.models import MAX_OPTIONS, Quote
from billing.quotes.papers import render_quote_pdf
from billing.quotes.tables import QuoteTable
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.look.forms import attempt
from shopdesk.staff.models import Role
from shopdesk.staff.permissions import BENCH_OR_OWNER, can_open
from shopdesk.stamp import Stamp


@require_GET
def all_quotes(request):
    """List all quotes, filtered by status."""
    today = timezone.localdate()
    asked = QuoteFilter(request.GET, Quote.objects.for_list(), on=today)
    table = RequestConfig(request).configure(QuoteTable(asked.qs, on=today))
    table.exclude = () if request.user.role == Role.OWNER else ("below",)
    return render(
        request,
        "billing/quotes/all.html",
        {
            "table": table,
            "filter": asked,
            "form": asked.form,
            "sees_invoices": can_open(request.user, "invoices:all"),
        },
    )


def for_job(request, pk):
    """List the versions of a job's quote; create a new one."""
    job = get_object_or_404(Job.objects.for_list(), pk=pk)
    if request.method == "POST":
        return _approve_or_draft(request, job)
    quotes = list(job.quotes.for_list())
    has_live = any(q.is_draft or (q.is_sent and not q.is_withdrawn) for q in quotes)
    is_diagnosed = job.state == job_states.DIAGNOSED
    table = QuoteTable(quotes, on=timezone.localdate(), orderable=False)
    table.exclude = ("customer", "device", "below")
    return render(
        request,
        "billing/quotes/for_job.html",
        {
            "job": job,
            "table": table,
            "quotes": quotes,
            "may_make": is_diagnosed and not has_live,
            "needs_none": is_diagnosed and job.is_warranty_repair,
            "sees_forms": can_open(request.user, "repair_form:of_job"),
            "sees_money": can_open(request.user, "invoices:for_job"),
        },
    )


def _approve_or_draft(request, job):
    if request.POST.get("then") == "approve":
        approve, stamp = workflow.approve_warranty_repair, Stamp.of(request)
        if attempt(request, None, approve, job, stamp=stamp):
            messages.success(request, "Repair approved: warranty repair.")
            return redirect(job)
    else:
        stamp = Stamp.of(request)
        drafted = attempt(request, None, drafting.draft, job, stamp=stamp)
        if drafted:
            return redirect(drafted.result)
    return redirect("quotes:for_job", job.pk)


def _quote(pk):
    return get_object_or_404(
        Quote.objects.defer("pdf").select_related(
            "job__customer", "job__device__model", "accepted_option"
        ),
        pk=pk,
    )


def quote(request, pk):
    """One version: a draft to edit, or the sent quote with its answer."""
    quote = _quote(pk)
    if request.method == "POST":
        return _write(request, quote)
    if quote.is_draft:
        return _draft_page(
            request,
            quote,
            DraftForms(quote, shop=request.shop, on=timezone.localdate()),
        )
    return _sent_page(request, quote)


def _draft_page(request, quote, forms, status=200):
    written_in = quote.written_in(request.shop)
    return render(
        request,
        "billing/quotes/draft.html",
        {
            "quote": quote,
            "job": quote.job,
            "draft": forms,
            "forms": forms.all,
            "written_in": written_in,
            "sees_suggestion": request.user.role in BENCH_OR_OWNER,
            "has_room": len(forms.options) < MAX_OPTIONS,
            "seen": queries.draft_fingerprint(quote),
        },
        status=status,
    )


def _sent_page(request, quote, yes=None, no=None):
    today = timezone.localdate()
    written_in = quote.written_in(request.shop)
    options = [
        {"option": option, "totals": option.totals(places=written_in.places)}
        for option in quote.options.prefetch_related("lines")
    ]
    for one in options:
        lines = one["option"].lines.all()
        one["lines"] = list(zip(lines, one["totals"].lines, strict=True))
    latest = quote.job.quotes.defer("pdf").live().first()
    return render(
        request,
        "billing/quotes/sent.html",
        {
            "quote": quote,
            "job": quote.job,
            "options": options,
            "standing": quote.standing(today),
            "is_expired": quote.is_expired(today),
            "is_withdrawn": quote.is_withdrawn,
            "latest": latest if latest != quote else None,
            "written_in": written_in,
            "sees_suggestion": request.user.role in BENCH_OR_OWNER,
            "yes": yes
            or RecordAcceptanceForm(quote, prefix="yes", written_in=written_in),
            "no": no or RecordDeclineForm(quote, prefix="no"),
            "forms": [form for form in (yes, no) if form],
        },
    )


REMOVE = re.compile(r"(line|option) ([0-9]{1,18})", re.ASCII)


STALE = (
    "Someone else changed this quote meanwhile. Your entries are kept below but not"
    " saved: check them and save again."
)
ADDED = {
    "add return": drafting.add_no_repair,
    "add board": drafting.add_board_replacement,
}


def _save(request, quote, removed="", *, is_sent=False):
    """Return the draft's forms with what was posted, and whether all was saved.

    Nothing is saved if somebody else changed the quote since the page was opened.
    """
    with transaction.atomic():
        _, locked = drafting.lock_draft(quote)
        forms = DraftForms(
            locked,
            shop=request.shop,
            on=timezone.localdate(),
            data=request.POST,
            removed=removed,
        )
        mark = request.POST.get("seen")
        if mark and mark != queries.draft_fingerprint(locked):
            messages.error(request, STALE)
        elif forms.is_valid() and (not is_sent or forms.ask_why()):
            forms.save()
            for option in forms.changed_warranty:
                drafting.recalculate(option, on=timezone.localdate())
            return forms, True
    return forms, False


def _write(request, quote):
    """Save the draft, then add or remove what was asked for."""
    written = attempt(request, None, _save_and_change, request, quote)
    if written and written.result is not None:
        return _draft_page(request, quote, written.result)
    return redirect(f"{quote.get_absolute_url()}#options")


@transaction.atomic
def _save_and_change(request, quote):
    """Return the forms that were not saved, or None."""
    then = request.POST.get("then", "")
    removed = then if REMOVE.fullmatch(then) else ""
    forms, is_saved = _save(request, quote, removed)
    if not is_saved:
        return forms
    if removed:
        what, pk = removed.split()
        remove = {"option": drafting.remove_option, "line": drafting.remove_line}[what]
        remove(quote, pk=int(pk))
    elif then == "add option":
        drafting.add_option(quote)
    elif then in ADDED:
        ADDED[then](quote, on=timezone.localdate())
    return None


@require_POST
def recalculate(request, pk):
    """Return the totals of a draft as entered; nothing is saved."""
    quote = _quote(pk)
    forms = DraftForms(
        quote, shop=request.shop, on=timezone.localdate(), data=request.POST
    )
    return render(
        request,
        "billing/quotes/_totals_swap.html",
        {
            "draft": forms,
            "written_in": quote.written_in(request.shop),
            "quote": quote,
        },
    )


@require_POST
def send(request, pk):
    """Save the draft, make the paper, and freeze the quote."""
    quote = _quote(pk)
    forms = None

    @transaction.atomic
    def save_and_send():
        nonlocal forms
        if "q-findings" in request.POST:
            forms, is_saved = _save(request, quote, is_sent=True)
            if not is_saved:
                return False
        stamp = Stamp.of(request)
        with_link = "with_link" in request.POST
        link = create_address(request, quote.job, stamp=stamp) if with_link else ""
        sending.send(quote, stamp=stamp, link=link)
        return True

    sent = attempt(request, None, save_and_send)
    if sent and sent.result:
        messages.success(request, "Quote sent. Print or email the PDF.")
    elif forms is not None and _quote(pk).is_draft:
        # Nothing was saved: what was typed is still in the boxes.
        return _draft_page(request, _quote(pk), forms)
    return redirect("quotes:quote", pk)


def answer(request, pk):
    """Record the customer's answer as staff heard it."""
    quote = _quote(pk)
    if request.method != "POST":
        return redirect(quote)
    if quote.is_draft:
        messages.error(request, "This quote has not been sent yet.")
        return redirect(quote)
    is_yes = request.POST.get("answer") == "yes"
    kind, prefix = (
        (RecordAcceptanceForm, "yes") if is_yes else (RecordDeclineForm, "no")
    )
    written_in = quote.written_in(request.shop)
    form = kind(quote, request.POST, prefix=prefix, written_in=written_in)
    if form.is_valid():
        act = answering.accept if is_yes else answering.decline
        stamp = Stamp.of(request)
        if attempt(request, form, act, quote, stamp=stamp, **form.cleaned_data):
            messages.success(
                request, f"{'Acceptance' if is_yes else 'Decline'} recorded."
            )
            return redirect(quote)
    quote = _quote(pk)
    return _sent_page(request, quote, **{prefix: form})


@require_POST
def mail(request, pk):
    """Email the sent paper with a link by which it can be answered."""
    quote = get_object_or_404(Quote.objects.select_related("job__customer"), pk=pk)

    @transaction.atomic
    def mail_with_link():
        stamp = Stamp.of(request)
        link = create_address(request, quote.job, stamp=stamp)
        return sending.mail(quote, link=link, stamp=stamp)

    mailed = attempt(request, None, mail_with_link)
    if mailed:
        messages.success(request, f"Email to {mailed.result.to} is in the outbox.")
    return redirect(quote)


@require_POST
def revise(request, pk):
    """Create a new version to edit; it replaces the old one."""
    quote = _quote(pk)
    revised = attempt(request, None, drafting.revise, quote, stamp=Stamp.of(request))
    if not revised:
        return redirect(quote)
    new = revised.result
    messages.success(request, f"Version {new.version} created. Edit and send it.")
    return redirect(new)


@require_GET
def paper(request, pk):
    """Return the stored paper of a sent quote, or a preview of the draft."""
    quote = get_object_or_404(Quote.objects.select_related("job"), pk=pk)
    if quote.pdf:
        pdf = bytes(quote.pdf)
    else:
        facts = {"shop": request.shop, "made_at": quote.made_at}
        drawn = attempt(request, None, render_quote_pdf, quote, **facts)
        if not drawn:
            return redirect(quote)
        pdf = drawn.result
    name = f"quote-{quote.job.number}-{quote.version}.pdf"
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
