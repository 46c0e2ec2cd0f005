"""The page behind the customer's link: it needs no sign-in, and tells one job only."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import (
    Http404,
    HttpResponse,
    HttpResponseNotAllowed,
    HttpResponseRedirect,
)
from django.http.request import split_domain_port
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy
from django.views.decorators.debug import sensitive_variables

from billing.changes import actions as changes
from billing.changes.queries import (
    accepted_quote,
    agreed_changes,
    agreed_total,
    open_change,
)
from billing.customer_page import actions
from billing.customer_page.forms import ChangeForm, NoForm, SeenForm, YesForm
from billing.customer_page.queries import (
    as_shown,
    change_as_shown,
    offered,
    offers,
    whereabouts,
)
from billing.quotes.letters import NO_LINKS, AnswerLinks
from billing.quotes.models import Link, Quote
from billing.quotes.papers import file_name
from repairs.jobs import states as job_states
from shopdesk.errors import RefusedError
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.staff.rate_limit import RateLimit, seconds_to_wait

CHANGE_CHANGED = gettext_lazy(
    "This was settled or changed while you were reading. Nothing was agreed just now:"
    " please look at what it says."
)


# --- who may read, and how often ----------------------------------------------


PAGE_LIMIT = RateLimit(60)  # of one page
INVALID_LIMIT = RateLimit(10)  # of links that open nothing
ANSWER_LIMIT = RateLimit(5)


def _slowed(request, link):
    """The answer to who knocks too often, else None. Staff may as they like."""
    if request.user.is_authenticated:
        return None
    wait = _wait(request, link.token_hash, PAGE_LIMIT)
    if request.method == "POST":
        wait = wait or _wait(request, "answer", ANSWER_LIMIT)
    return _wait_page(request, wait) if wait else None


def _wait(request, about, limit):
    return seconds_to_wait(request, about, limit, at=timezone.now())


def _wait_page(request, wait):
    answer = render(
        request, "billing/customer_page/slow.html", {"wait": wait}, status=429
    )
    answer["Retry-After"] = wait
    return answer


def _nothing(request):
    """The one page for links that are wrong, altered, expired or revoked."""
    wait = _wait(request, "unknown", INVALID_LIMIT)
    if wait:
        return _wait_page(request, wait)
    return render(request, "billing/customer_page/nothing.html", status=404)


def by_link(view):
    """A page of the job that the token opens; told to nobody else by any header."""

    @login_not_required
    @sensitive_variables("token")
    @wraps(view)
    def page(request, token, **more):
        if request.method not in ("GET", "HEAD", "POST"):
            return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
        with told_to_customer(request):
            answer = found(request, token, **more)
        answer["Cache-Control"] = "no-store, private"
        answer["X-Robots-Tag"] = "noindex, nofollow"
        # A form under plain no-referrer is sent as from nowhere, and refused as
        # forged. The host alone goes with it then, the token never.
        is_html = answer["Content-Type"].startswith("text/html")
        has_form = is_html and b"<form" in answer.content
        answer["Referrer-Policy"] = (
            "no-referrer, strict-origin" if has_form else "no-referrer"
        )
        return answer

    def found(request, token, **more):
        link = (
            Link.objects.opened_by(
                token, purpose=Link.Purpose.FOLLOW, on=timezone.localdate()
            )
            .select_related("job__customer", "job__device__model")
            .first()
        )
        if link is None:
            return _nothing(request)
        try:
            return _slowed(request, link) or view(request, link, token, **more)
        except Http404:
            return _nothing(request)

    return page


def told_to_customer(request):
    """The page drawn within speaks as the shop's papers do."""
    request.shop = Shop.current()
    return document_language(request.shop)


# --- the pages ----------------------------------------------------------------


@dataclass(frozen=True)
class Side:
    """From where the page is asked for: by the link, or at the counter's screen."""

    here: str
    how: str = Quote.How.LINK
    by: object = None
    balance_of: Callable | None = None
    is_staff: bool = False

    @property
    def at_counter(self):
        return self.how == Quote.How.SCREEN


@by_link
def page(request, link, token, *, balance_of):
    """Read the quote, say yes or no; later, where the device is."""
    is_staff = request.user.is_authenticated
    side = Side(
        reverse("link:page", args=[token]), balance_of=balance_of, is_staff=is_staff
    )
    if request.method == "POST" and not is_staff:
        return answered(request, link.job, side)
    if request.method == "GET" and not is_staff:
        link.count_view(at=timezone.now())
    return told(request, link.job, side)


@by_link
def paper(request, link, token, **more):
    """The quote's own paper, byte for byte."""
    quote = offered(link.job)
    if request.method == "POST" or quote is None:
        raise Http404
    name = file_name(quote)
    return HttpResponse(
        bytes(Quote.objects.values_list("paper", flat=True).get(pk=quote.pk)),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


def told(request, job, side, *, refusal="", status=200, **bound):
    """The page of a job, for its customer; `bound` are forms that were refused."""
    shop = Shop.current()
    quote = offered(job)
    context = {
        "job": job,
        "quote": quote,
        "side": side,
        "where": whereabouts(job),
        "refusal": refusal,
        "forms": list(bound.values()),
    }
    if side.balance_of:
        balance = side.balance_of(job)
        context |= {
            "balance": balance,
            "owed_back": -balance.owed,
            "billed_in": balance.written_in(shop),
        }
    if quote is not None:
        context |= _quote_told(job, quote, side, shop, bound)
    return render(request, "billing/customer_page/page.html", context, status=status)


def _quote_told(job, quote, side, shop, bound):
    written_in = quote.written_in(shop)
    options = offers(quote, shop=shop)
    shown = as_shown(options)
    waits = quote.is_sent and job.state == job_states.QUOTED
    change = _open_change(job, quote)
    found = {
        # Once one was chosen the others only stand in the way.
        "offers": [one for one in options if quote.chosen_id in (None, one.option.pk)],
        "written_in": written_in,
        "is_expired": quote.is_expired(timezone.localdate()),
        "may_answer": waits and not side.is_staff,
        "change": change,
        "agreed_changes": agreed_changes(job),
        "agreed_now": quote.chosen_id and agreed_total(quote, places=written_in.places),
        "yes": YesForm(
            quote,
            shown,
            prefix="yes",
            written_in=written_in,
            with_pad=side.at_counter,
        ),
        "no": NoForm(quote, shown, prefix="no"),
        "change_form": ChangeForm(change_as_shown(change), prefix="change"),
    }
    return found | bound


def _open_change(job, quote):
    """The change that the customer may answer now, if any."""
    return open_change(quote) if job.state in changes.WORKING else None


def answered(request, job, side):
    """The customer's answer, if it is to what stands in the books now."""
    what = request.POST.get("answer")
    if what in ("change yes", "change no"):
        return _change_answered(request, job, side, said=what.split()[1])
    quote, shop = offered(job), Shop.current()
    name = "yes" if what == "yes" else "no"
    shown = as_shown(offers(quote, shop=shop)) if quote else ""
    seen = SeenForm(request.POST, prefix=name)
    if quote is None or not seen.has_seen(quote.version, shown):
        return told(request, job, side, refusal=actions.CHANGED, status=409)
    if name == "yes":
        act, more = actions.accept_online, {"on": timezone.localdate()}
        form = YesForm(
            quote,
            shown,
            request.POST,
            prefix=name,
            written_in=quote.written_in(shop),
            with_pad=side.at_counter,
        )
    else:
        act, more = actions.decline_online, {}
        form = NoForm(quote, shown, request.POST, prefix=name)
    if not form.is_valid():
        return told(request, job, side, **{name: form})
    return _done(request, job, side, act, quote, **more, **form.cleaned_data)


def _change_answered(request, job, side, *, said):
    """The customer's answer to a change of what was agreed."""
    change = _open_change(job, accepted_quote(job))
    form = ChangeForm(change_as_shown(change), request.POST, prefix="change")
    if not form.has_seen():
        return told(request, job, side, refusal=CHANGE_CHANGED, status=409)
    if not form.is_valid():
        return told(request, job, side, change_form=form)
    who = form.cleaned_data["who"]
    return _done(request, job, side, changes.answer, change, said=said, who=who)


def _done(request, job, side, act, *what, **told_us):
    """Do it, and show the page anew; or say why not."""
    try:
        act(
            *what,
            how=side.how,
            at=timezone.now(),
            by=side.by,
            links=_answer_links(request, side),
            **told_us,
        )
    except RefusedError as refusal:
        job.refresh_from_db()
        return told(request, job, side, refusal=str(refusal), status=409)
    return HttpResponseRedirect(side.here, status=303)


def _answer_links(request, side):
    """Where emails lead. A visitor may name any host that the settings let in by a
    pattern, so of theirs only one that stands there in full is taken for ours.
    """
    root = request.build_absolute_uri("/").rstrip("/")
    if side.at_counter:
        return AnswerLinks(desk=root)
    if settings.PUBLIC_URL:
        root = settings.PUBLIC_URL.rstrip("/")
    elif split_domain_port(request.get_host())[0] not in settings.ALLOWED_HOSTS:
        return NO_LINKS
    return AnswerLinks(page=root + side.here, desk=root)
