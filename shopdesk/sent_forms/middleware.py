"""Answers a form that is sent again, without acting again."""

from time import monotonic, sleep

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django_htmx.http import HttpResponseClientRedirect, reswap, retarget

from shopdesk.sent_forms import once, responses
from shopdesk.sent_forms.entries import listed, page_of

WAIT = 5.0  # seconds for the first response to be complete
PAUSE = 0.05  # seconds


class SentFormMiddleware:
    """Gives every sending of a form the first response.

    Runs after the middleware of users and messages.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if getattr(request, "used_form_key", "") and response.status_code < 400:
            responses.keep_response(request, response)
        return response

    def process_view(self, request, view, args, kwargs):
        sent = once.sent_before(request)
        return sent and answer_again(request, sent)

    def process_exception(self, request, exception):
        if not isinstance(exception, once.AlreadySentError):
            return None
        return answer_again(request, once.sent_before(request))


def answer_again(request, sent) -> HttpResponse:
    """Return the first response; if there is none, say that the form was saved."""
    if sent.content_hash != once.content_hash(request):
        return _other_entries(request)
    end = monotonic() + WAIT
    while (response := responses.kept_response(request, sent)) is None:
        if monotonic() > end:
            return _saved_before(request)
        sleep(PAUSE)
        sent.refresh_from_db(fields=["response"])
    return response


def _saved_before(request) -> HttpResponse:
    messages.info(
        request, gettext("This form was already saved. It was not saved twice.")
    )
    page = page_of(request)
    return HttpResponseClientRedirect(page) if request.htmx else redirect(page)


def _other_entries(request) -> HttpResponse:
    """Say that the page has been used; show what was typed, which is saved nowhere."""
    facts = {"entries": listed(request.POST.lists()), "page": page_of(request)}
    response = render(request, "shopdesk/sent_forms/used.html", facts, status=409)
    if request.htmx:
        # htmx shows only successful responses, and here in place of the whole page.
        response.status_code = 200
        reswap(retarget(response, "body"), "innerHTML")
    return response
