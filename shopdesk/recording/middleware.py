"""Tells the trail who makes a request."""

from shopdesk.recording.acting import (
    CUSTOMER_LINK,
    PHOTO_LINK,
    WEB,
    act_through,
    acting,
)

BY_LINK = {"link": CUSTOMER_LINK, "photo_link": PHOTO_LINK}
"""The URL namespaces of the pages that are opened by a link with a token."""


class ActingMiddleware:
    """Names the signed-in user, loaded only if needed. Runs after authentication."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        with acting(WEB, getattr(request, "user", None)):
            return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        source = BY_LINK.get(request.resolver_match.namespace)
        if source:
            act_through(source)
