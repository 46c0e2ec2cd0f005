"""Which token does a request bring, and is it still allowed to ask?"""

from datetime import datetime, time

from django.utils import timezone
from django.views.decorators.debug import sensitive_variables
from ninja.errors import Throttled
from ninja.security import HttpBearer

from shopdesk.api.actions import note_use
from shopdesk.api.models import ApiToken
from shopdesk.serving.request_log import TOKEN_REFUSED, note_event
from shopdesk.staff.link_pages import INVALID_LIMIT
from shopdesk.staff.rate_limit import RateLimit, seconds_to_wait

TOKEN_LIMIT = RateLimit(120)
"""Requests of one address with one token."""


class BearerToken(HttpBearer):
    """Opens the API to a valid token in the header, and to nothing else.

    A session opens nothing, so no other site can make a browser ask. Requests are
    counted as those of links are.
    """

    openapi_description = "A token that an owner has created."

    @sensitive_variables()
    def __call__(self, request) -> ApiToken | None:
        # Without a token it is an invalid one, which is counted, too.
        return super().__call__(request) or self.refuse(request)

    @sensitive_variables()
    def authenticate(self, request, token: str) -> ApiToken | None:
        found = ApiToken.objects.opened_by(token.strip(), at=request.latest).first()
        if found is None:
            return None
        request.api_token = found
        now = timezone.now()
        _limit(request, found.token_hash, TOKEN_LIMIT, at=now)
        today = datetime.combine(timezone.localdate(now), time.min)
        note_use(found, at=now, midnight=timezone.make_aware(today))
        return found

    def refuse(self, request) -> None:
        note_event(request, TOKEN_REFUSED)
        _limit(request, "unknown API token", INVALID_LIMIT, at=timezone.now())


def _limit(request, about: str, limit: RateLimit, *, at: datetime) -> None:
    if wait := seconds_to_wait(request, about, limit, at=at):
        raise Throttled(wait=wait)
