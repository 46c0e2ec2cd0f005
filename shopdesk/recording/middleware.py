"""Tells the trail who makes a request."""

from shopdesk.recording.acting import CUSTOMER_LINK, WEB, act_through, acting

CUSTOMERS_ROOM = "link"
"""The URL namespace of the pages that customers open by their link."""


class ActingMiddleware:
    """Names the signed-in user, loaded only if needed. Runs after authentication."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        with acting(WEB, getattr(request, "user", None)):
            return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        if CUSTOMERS_ROOM in request.resolver_match.namespaces:
            act_through(CUSTOMER_LINK)
