"""Tells the trail who makes a request."""

from shopdesk.recording.acting import (
    API,
    CUSTOMER_LINK,
    PHOTO_LINK,
    WEB,
    act_through,
    acting,
)

BY_TOKEN = {"link": CUSTOMER_LINK, "photo_link": PHOTO_LINK, "api": API}
"""The URL namespaces of what a token opens."""


class ActingMiddleware:
    """Names the signed-in user, loaded only if needed. Runs after authentication."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        with acting(WEB, getattr(request, "user", None)):
            return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        source = BY_TOKEN.get(request.resolver_match.namespace)
        if source:
            act_through(source)
