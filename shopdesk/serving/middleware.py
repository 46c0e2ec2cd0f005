"""What every request has: an id, a line in the log, safe headers, clean text."""

import os
from secrets import token_hex
from time import perf_counter

from django.db import connection
from django.http import HttpResponseNotAllowed, QueryDict

from shopdesk.serving.request_log import log_request
from shopdesk.text import clean_text

# Passwords stay as typed: commands set them, too.
AS_TYPED = frozenset({"password", "again", "current"})
METHODS = ("GET", "HEAD", "POST")
_OFF = ("camera", "display-capture", "geolocation", "microphone", "payment", "usb")
HEADERS = {
    "Permissions-Policy": ", ".join(f"{feature}=()" for feature in _OFF),
    # Django's own middleware sends these two as well, but not if it fails itself.
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}


class RequestMiddleware:
    """Gives the request an id, and writes one line about it. Runs first of all."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        started = perf_counter()
        request.request_id = token_hex(6)
        response = self.get_response(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response["X-Request-ID"] = request.request_id
        log_request(request, response.status_code, seconds=perf_counter() - started)
        return response


class MethodMiddleware:
    """Refuses methods that no page has, such as TRACE."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        if request.method in METHODS:
            return self.get_response(request)
        return HttpResponseNotAllowed(METHODS)


class ReconnectMiddleware:
    """Opens SQLite's file again once it can be written.

    A connection that was opened on a read-only disk would stay as it is, for as long as
    it is kept.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        if connection.vendor == "sqlite":
            is_writable = os.access(connection.settings_dict["NAME"], os.W_OK)
            if is_writable and not getattr(connection, "opened_writable", True):
                connection.close()
            if connection.connection is None:
                connection.opened_writable = is_writable
        return self.get_response(request)


class TextMiddleware:
    """Cleans every text of forms and addresses, so that no form can forget to.

    The form's key and its CSRF token are plain and stay as they are.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        request.GET = _cleaned(request.GET)
        if request.method == "POST":
            request.POST = _cleaned(request.POST)


def _cleaned(sent):
    """Return the entries with clean names and values."""
    texts = [(n, v) for n, values in sent.lists() for v in values]
    clean = [(clean_text(n), v if n in AS_TYPED else clean_text(v)) for n, v in texts]
    if clean == texts:
        return sent
    entries = QueryDict(mutable=True, encoding=sent.encoding)
    for name, value in clean:
        entries.appendlist(name, value)
    entries._mutable = False
    return entries
