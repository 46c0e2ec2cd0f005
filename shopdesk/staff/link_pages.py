"""Pages behind a link with a random token: no sign-in, limited, never given away."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpResponseNotAllowed
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.debug import sensitive_variables

from shopdesk.papers.render import document_language
from shopdesk.staff.rate_limit import RateLimit, seconds_to_wait

PAGE_LIMIT = RateLimit(60)  # requests for one page
INVALID_LIMIT = RateLimit(10)  # requests for invalid links


def public_address(request, path: str) -> str:
    """Return the whole address of a page for somebody outside."""
    if settings.PUBLIC_URL:
        return settings.PUBLIC_URL.rstrip("/") + path
    return request.build_absolute_uri(path)


def own_address(request, path: str) -> str:
    """Return the whole address of a page for another device of the staff.

    That is the address by which this request came, unless it means this machine.
    """
    if is_local_host(request):
        return public_address(request, path)
    return request.build_absolute_uri(path)


def is_local_host(request) -> bool:
    """Whether the address of the page means this machine only."""
    return request.get_host().rsplit(":", 1)[0] in ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class LinkPages:
    """Makes views `(request, link, token, …)` pages of what `find` returns for a token.

    Links that are unknown, expired or revoked, for which `find` returns None, and what
    a view does not find, are answered by the same 404. `limits` are those of one
    address for one link, by what a view counts; those of `sent` are for all links.
    """

    find: Callable[[Any, str], Any]
    sent: tuple[str, RateLimit]
    limits: dict[str, RateLimit] = field(default_factory=lambda: {"": PAGE_LIMIT})

    def __call__(self, view=None, *, counted_as: str = ""):
        """Make `view` a page that never sends its token elsewhere."""
        if view is None:
            return lambda view: self(view, counted_as=counted_as)

        @login_not_required
        @sensitive_variables("token")
        @wraps(view)
        def page(request, token, **more):
            if request.method not in ("GET", "HEAD", "POST"):
                return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
            with document_language(request.shop):
                answer = self._respond(view, counted_as, request, token, more)
            answer["Cache-Control"] = "no-store, private"
            answer["X-Robots-Tag"] = "noindex, nofollow"
            # With plain no-referrer a form is sent without an origin, and Django
            # refuses it. So a page with a form sends the host, but never the token.
            is_html = answer["Content-Type"].startswith("text/html")
            has_form = is_html and b"<form" in answer.content
            answer["Referrer-Policy"] = (
                "no-referrer, strict-origin" if has_form else "no-referrer"
            )
            return answer

        return page

    def _respond(self, view, counted_as, request, token, more):
        link = self.find(request, token)
        if link is None:
            return _invalid_link(request)
        try:
            limited = self._rate_limited(request, link, counted_as)
            return limited or view(request, link, token, **more)
        except Http404:
            return _invalid_link(request)

    def _rate_limited(self, request, link, counted_as):
        """Return a response if there were too many requests, else None. Staff have no
        limit.
        """
        if request.user.is_authenticated:
            return None
        about = f"{link.token_hash}{counted_as}"
        wait = _wait(request, about, self.limits[counted_as])
        if request.method == "POST":
            wait = wait or _wait(request, *self.sent)
        return _wait_page(request, wait) if wait else None


def _wait(request, about: str, limit: RateLimit) -> int:
    return seconds_to_wait(request, about, limit, at=timezone.now())


def _wait_page(request, wait: int):
    template = "shopdesk/staff/link/too_many_requests.html"
    answer = render(request, template, {"wait": wait}, status=429)
    answer["Retry-After"] = wait
    return answer


def _invalid_link(request):
    """Return the same page for links that are unknown, expired or revoked."""
    wait = _wait(request, "unknown", INVALID_LIMIT)
    if wait:
        return _wait_page(request, wait)
    return render(request, "shopdesk/staff/link/invalid.html", status=404)
