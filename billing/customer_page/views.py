"""The page behind a customer's link: no sign-in, one job only."""

from collections.abc import Callable
from dataclasses import dataclass

from django.conf import settings
from django.http import (
    Http404,
    HttpResponse,
    HttpResponseRedirect,
)
from django.http.request import split_domain_port
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy

from billing.changes import actions as changes
from billing.changes.queries import (
    accepted_quote,
    agreed_changes,
    agreed_total,
    open_change,
)
from billing.customer_page import actions
from billing.customer_page.forms import (
    AcceptQuoteForm,
    CustomerAnswerForm,
    DeclineQuoteForm,
)
from billing.customer_page.queries import (
    change_fingerprint,
    quote_shown,
    shown_fingerprint,
    status_texts,
    warranty_until,
)
from billing.quotes.answer_emails import NO_LINKS, AnswerLinks
from billing.quotes.models import Link, Quote
from billing.quotes.papers import file_name
from repairs.jobs import states as job_states
from repairs.photos.models import PhotoFile
from repairs.photos.picture_response import file_response
from shopdesk.errors import RefusedError
from shopdesk.papers.render import document_language
from shopdesk.sent_forms.once import act_once
from shopdesk.staff.link_pages import PAGE_LIMIT, LinkPages
from shopdesk.staff.rate_limit import RateLimit
from shopdesk.stamp import Stamp

CHANGE_CHANGED = gettext_lazy(
    "This was answered or changed meanwhile. Nothing was ordered now. Please check the"
    " current status."
)


# --- who may read, and how often ----------------------------------------------


def _find(request, token):
    found = Link.objects.opened_by(token, on=timezone.localdate(request.latest))
    return found.select_related("job__customer", "job__device__model").first()


PHOTO = "photo"
by_link = LinkPages(
    _find,
    sent=("answer", RateLimit(5)),
    limits={"": PAGE_LIMIT, PHOTO: RateLimit(300)},
)


def in_customers_language(request):
    """Return a context in which pages use the language of the shop's papers."""
    return document_language(request.shop)


# --- the pages ----------------------------------------------------------------


@dataclass(frozen=True)
class Viewer:
    """How the page was opened: by the link, or on the counter's screen."""

    address: str
    how: str = Quote.How.LINK
    by: object = None
    balance_of: Callable | None = None
    is_staff: bool = False

    @property
    def at_counter(self):
        return self.how == Quote.How.SCREEN


@by_link
def page(request, link, token, *, balance_of):
    """Show the quote and its answer forms; later, the repair status."""
    is_staff = request.user.is_authenticated
    viewer = Viewer(
        reverse("link:page", args=[token]), balance_of=balance_of, is_staff=is_staff
    )
    if request.method == "POST" and not is_staff:
        return record_answer(request, link.job, viewer)
    if request.method == "GET" and not is_staff:
        link.count_view(at=timezone.now())
    return show_page(request, link.job, viewer)


@by_link
def paper(request, link, token, **more):
    """Return the stored PDF of the quote."""
    quote = quote_shown(link.job)
    if request.method == "POST" or quote is None:
        raise Http404
    name = file_name(quote)
    return HttpResponse(
        bytes(Quote.objects.values_list("pdf", flat=True).get(pk=quote.pk)),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


@by_link(counted_as=PHOTO)
def photo(request, link, token, pk, **more):
    """Return a photo that is shown to the customer."""
    return file_response(_files_shown(link, pk), "picture")


@by_link(counted_as=PHOTO)
def thumbnail(request, link, token, pk, **more):
    """Return the same photo, small."""
    return file_response(_files_shown(link, pk), "thumbnail")


def _files_shown(link, pk):
    photos = link.job.photos.for_customer()
    return PhotoFile.objects.filter(photo_id=pk, photo__in=photos)


def show_page(request, job, viewer, *, refusal="", status=200, **bound):
    """Render the customer's page of a job; `bound` are forms with errors."""
    shop = request.shop
    quote = quote_shown(job)
    context = {
        "job": job,
        "quote": quote,
        "viewer": viewer,
        "status_texts": status_texts(job),
        "warranty_until": warranty_until(job),
        "photos": [] if viewer.at_counter else job.photos.for_customer(),
        "refusal": refusal,
        "forms": list(bound.values()),
    }
    if viewer.balance_of:
        balance = viewer.balance_of(job)
        context |= {
            "balance": balance,
            "refund_due": -balance.owed,
            "billed_in": balance.written_in(shop),
        }
    if quote is not None:
        context |= _quote_context(job, quote, viewer, shop, bound)
    return render(request, "billing/customer_page/page.html", context, status=status)


def _quote_context(job, quote, viewer, shop, bound):
    options = list(quote.options.prefetch_related("lines"))
    may_answer = (
        quote.is_sent and job.state == job_states.QUOTED and not viewer.is_staff
    )
    change = _open_change(job, quote)
    context = {
        # Once an option is accepted, only that one is shown.
        "options": [
            option
            for option in options
            if quote.accepted_option_id in (None, option.pk)
        ],
        "written_in": quote.written_in(shop),
        "has_warranty": any(option.warranty_days for option in options),
        "is_expired": quote.is_expired(shop.latest_day(timezone.localdate())),
        "may_answer": may_answer,
        "change": change,
        "agreed_changes": agreed_changes(job),
        "agreed_total": quote.accepted_option_id and agreed_total(quote),
    }
    if may_answer:
        shown = shown_fingerprint(options)
        context["accept_form"] = _accept_form(quote, shown, viewer, shop)
        context["decline_form"] = _decline_form(shown)
    if change:
        context["change_form"] = _change_form(change)
    return context | bound


def _accept_form(quote, shown, viewer, shop, data=None):
    return AcceptQuoteForm(
        shown,
        data,
        prefix="yes",
        quote=quote,
        written_in=quote.written_in(shop),
        with_pad=viewer.at_counter,
    )


def _decline_form(shown, data=None):
    return DeclineQuoteForm(shown, data, prefix="no")


def _change_form(change, data=None):
    return CustomerAnswerForm(change_fingerprint(change), data, prefix="change")


def _open_change(job, quote):
    """Return the extra work that the customer may answer now, if any."""
    return open_change(quote) if job.state in changes.WORKING else None


def record_answer(request, job, viewer):
    """Record the customer's answer, if the quote is still as shown."""
    answer = request.POST.get("answer")
    if answer in ("change yes", "change no"):
        return _record_change_answer(request, job, viewer, decision=answer.split()[1])
    quote = quote_shown(job)
    if quote is None:
        return show_page(request, job, viewer, refusal=actions.CHANGED, status=409)
    shown = shown_fingerprint(quote.options.prefetch_related("lines"))
    if answer == "yes":
        act, name = actions.accept_online, "accept_form"
        form = _accept_form(quote, shown, viewer, request.shop, request.POST)
    else:
        act, name = actions.decline_online, "decline_form"
        form = _decline_form(shown, request.POST)
    if not form.is_current():
        return show_page(request, job, viewer, refusal=actions.CHANGED, status=409)
    if not form.is_valid():
        return show_page(request, job, viewer, **{name: form})
    return _act(request, job, viewer, act, quote, **form.cleaned_data)


def _record_change_answer(request, job, viewer, *, decision):
    """Record the customer's answer to extra work."""
    change = _open_change(job, accepted_quote(job))
    form = _change_form(change, request.POST)
    if not form.is_current():
        return show_page(request, job, viewer, refusal=CHANGE_CHANGED, status=409)
    if not form.is_valid():
        return show_page(request, job, viewer, change_form=form)
    facts = {"decision": decision, "who": form.cleaned_data["who"]}
    return _act(request, job, viewer, changes.answer, change, **facts)


def _act(request, job, viewer, act, record, **facts):
    """Call the action and redirect to the page, or show the page with the refusal."""
    try:
        with act_once(request):
            act(
                record,
                how=viewer.how,
                stamp=Stamp.now(viewer.by),
                links=_answer_links(request, viewer),
                **facts,
            )
    except RefusedError as refusal:
        job.refresh_from_db()
        return show_page(request, job, viewer, refusal=str(refusal), status=409)
    return HttpResponseRedirect(viewer.address, status=303)


def _answer_links(request, viewer):
    """Return the base URLs for the emails about an answer.

    ALLOWED_HOSTS may contain patterns, and a visitor may send any host that matches. So
    the host of the request is used only if it is listed in full.
    """
    root = request.build_absolute_uri("/").rstrip("/")
    if viewer.at_counter:
        return AnswerLinks(desk=root)
    if settings.PUBLIC_URL:
        root = settings.PUBLIC_URL.rstrip("/")
    elif split_domain_port(request.get_host())[0] not in settings.ALLOWED_HOSTS:
        return NO_LINKS
    return AnswerLinks(page=root + viewer.address, desk=root)
