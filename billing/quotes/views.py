"""Staff pages to draft, send, answer and revise quotes."""

import re

from django.contrib import messages
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from billing.quotes import answering, drafting, queries, sending
from billing.quotes.filters import QuoteFilter
from billing.quotes.fix_offers import fix_offers
from billing.quotes.forms import DraftForms, RecordAcceptanceForm, RecordDeclineForm
from billing.quotes.links import create_address
from billing.quotes.models import MAX_OPTIONS, Quote
from billing.quotes.papers import render_quote_pdf
from billing.quotes.tables import QuoteTable
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.errors import StaleError
from shopdesk.look.downloads import pdf_response
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff.models import Role
from shopdesk.staff.permissions import can_open, can_see_costs
from shopdesk.stamp import Stamp


@require_GET
def all_quotes(request):
    """List all quotes, filtered by status."""
    today = timezone.localdate()
    quotes = QuoteFilter(request.GET, Quote.objects.for_list(), on=today)
    table = QuoteTable(quotes.qs, on=today)
    table.exclude = () if request.user.role == Role.OWNER else ("below",)
    return list_page(
        request,
        "billing/quotes/all.html",
        table,
        filter=quotes,
        form=quotes.form,
        sees_invoices=can_open(request.user, "invoices:all"),
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
            "needs_none": is_diagnosed and job.needs_no_quote,
            "sees_forms": can_open(request.user, "repair_form:for_job"),
            "sees_money": can_open(request.user, "invoices:for_job"),
        },
    )


def _approve_or_draft(request, job):
    if request.POST.get("then") == "approve":
        approve, stamp = workflow.approve_warranty_repair, Stamp.of(request)
        if attempt(request, None, approve, job, stamp=stamp):
            messages.success(request, gettext("Repair approved: warranty repair."))
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
        return _change_draft(request, quote)
    if quote.is_draft:
        forms = _draft_forms(request, quote)
        return _draft_page(request, quote, forms)
    return _sent_page(request, quote)


def _draft_forms(request, quote, **sent):
    return DraftForms(
        quote,
        shop=request.shop,
        on=timezone.localdate(),
        sees_costs=can_see_costs(request.user, request.shop),
        **sent,
    )


def _draft_page(request, quote, forms):
    return render(
        request,
        "billing/quotes/draft.html",
        {
            "quote": quote,
            "job": quote.job,
            "draft": forms,
            "forms": forms.all,
            "written_in": quote.written_in(request.shop),
            "has_room": len(forms.options) < MAX_OPTIONS,
            "fixes": fix_offers(quote.job, on=timezone.localdate(), shop=request.shop),
            "fingerprint": queries.draft_fingerprint(quote),
        },
    )


def _sent_page(request, quote, **bound):
    """Show a sent quote; `bound` is the form of an answer with errors."""
    today = timezone.localdate()
    written_in = quote.written_in(request.shop)
    return render(
        request,
        "billing/quotes/sent.html",
        {
            "quote": quote,
            "job": quote.job,
            "options": quote.options.prefetch_related("lines"),
            "status": quote.status(today),
            "is_expired": quote.is_expired(request.shop.latest_day(today)),
            "latest": quote.job.quotes.defer("pdf").live().first(),
            "written_in": written_in,
            "accept_form": RecordAcceptanceForm(
                quote, prefix="yes", written_in=written_in
            ),
            "decline_form": RecordDeclineForm(
                quote, prefix="no", written_in=written_in
            ),
            "forms": list(bound.values()),
            **bound,
        },
    )


STALE = gettext_lazy(
    "Someone else changed this quote meanwhile. Your entries are kept below but not"
    " saved: check them and save again."
)


def _save_draft(request, quote, then, *, removed="", is_sent=False):
    """Save the draft and call `then`; return whether both succeeded, and the forms.

    Nothing is saved if someone else changed the quote since the page was opened.
    """
    forms = None

    @transaction.atomic
    def save():
        nonlocal forms
        today = timezone.localdate()
        _, locked = drafting.lock_draft(quote)
        forms = _draft_forms(request, locked, data=request.POST, removed=removed)
        opened = request.POST.get("opened")
        if opened and opened != queries.draft_fingerprint(locked):
            raise StaleError(STALE)
        if not forms.is_valid() or (is_sent and not forms.has_reasons()):
            return False
        forms.save()
        for option in forms.changed_warranty:
            drafting.recalculate(option, on=today)
        then()
        return True

    saved = attempt(request, None, save)
    return bool(saved and saved.result), forms


REMOVE = re.compile(r"(line|option) ([0-9]{1,18})", re.ASCII)


ADD_FIX = re.compile(r"add fix ([0-9]{1,18}) ([0-9]{1,18})", re.ASCII)


def _change_draft(request, quote):
    """Save the draft; add or remove a line or an option if asked to."""
    change = request.POST.get("then", "")
    remove, fix = REMOVE.fullmatch(change), ADD_FIX.fullmatch(change)

    def then():
        today = timezone.localdate()
        if remove and remove[1] == "option":
            drafting.remove_option(quote, pk=int(remove[2]))
        elif remove:
            drafting.remove_line(quote, pk=int(remove[2]))
        elif fix:
            drafting.add_fix(quote, repair_pk=int(fix[1]), fix_pk=int(fix[2]), on=today)
        elif change == "add option":
            drafting.add_option(quote)
        elif change == "add return":
            drafting.add_no_repair(quote, on=today)
        elif change == "add board":
            drafting.add_board_replacement(quote, on=today)

    is_done, forms = _save_draft(request, quote, then, removed=change if remove else "")
    if forms and not is_done:
        return _draft_page(request, quote, forms)
    return redirect(f"{quote.get_absolute_url()}#options")


@require_POST
def recalculate(request, pk):
    """Return the totals of a draft as entered, without saving."""
    quote = _quote(pk)
    forms = _draft_forms(request, quote, data=request.POST)
    written_in = quote.written_in(request.shop)
    context = {"draft": forms, "written_in": written_in, "quote": quote}
    return render(request, "billing/quotes/_totals_swap.html", context)


@require_POST
def send(request, pk):
    """Save the draft, make the paper, and freeze the quote."""
    quote = _quote(pk)

    def then():
        stamp = Stamp.of(request)
        with_link = "with_link" in request.POST
        link = create_address(request, quote.job, stamp=stamp) if with_link else ""
        sending.send(quote, stamp=stamp, link=link)

    is_done, forms = _save_draft(request, quote, then, is_sent=True)
    if forms and not is_done:
        return _draft_page(request, quote, forms)
    if is_done:
        messages.success(request, gettext("Quote sent. Print or email the PDF."))
    return redirect(quote)


def answer(request, pk):
    """Record the customer's answer as told to staff."""
    quote = _quote(pk)
    if request.method != "POST":
        return redirect(quote)
    if quote.is_draft:
        messages.error(request, gettext("This quote has not been sent yet."))
        return redirect(quote)
    if request.POST.get("answer") == "yes":
        kind, name, prefix = RecordAcceptanceForm, "accept_form", "yes"
        act, done = answering.accept, gettext("Acceptance recorded.")
    else:
        kind, name, prefix = RecordDeclineForm, "decline_form", "no"
        act, done = answering.decline, gettext("Decline recorded.")
    written_in = quote.written_in(request.shop)
    form = kind(quote, request.POST, prefix=prefix, written_in=written_in)
    if form.is_valid():
        stamp = Stamp.of(request)
        if attempt(request, form, act, quote, stamp=stamp, **form.cleaned_data):
            messages.success(request, done)
            return redirect(quote)
    return _sent_page(request, _quote(pk), **{name: form})


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
        messages.success(
            request,
            gettext("Email to {address} is in the outbox.").format(
                address=mailed.result.to
            ),
        )
    return redirect(quote)


@require_POST
def revise(request, pk):
    """Create a new version to edit; it replaces the old one."""
    quote = _quote(pk)
    revised = attempt(request, None, drafting.revise, quote, stamp=Stamp.of(request))
    if not revised:
        return redirect(quote)
    new = revised.result
    messages.success(
        request,
        gettext("Version {version} created. Edit and send it.").format(
            version=new.version
        ),
    )
    return redirect(new)


@require_GET
def paper(request, pk):
    """Return the stored paper of a sent quote, or a preview of the draft."""
    quote = get_object_or_404(Quote.objects.select_related("job"), pk=pk)
    pdf = quote.pdf
    if quote.sent_at is None and not pdf:
        facts = {"shop": request.shop, "made_at": quote.made_at}
        drawn = attempt(request, None, render_quote_pdf, quote, **facts)
        if not drawn:
            return redirect(quote)
        pdf = drawn.result
    return pdf_response(pdf, name=f"quote-{quote.job.number}-{quote.version}")
