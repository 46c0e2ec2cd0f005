"""What every request has: an id, a line in the log, safe headers, a known method."""

from secrets import token_hex
from time import perf_counter

from django.http import HttpResponseNotAllowed

from shopdesk.serving.request_log import log_request

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
