"""What does the log say about a request? Nothing about a person.

One line: the time in UTC, the method, the path, the status, the milliseconds, the
number of the signed-in user or of the API token, the request's id. No query, no form,
no address. Another line follows if somebody may be trying what they must not.
"""

import logging
from datetime import UTC, datetime
from urllib.parse import quote

SIGN_IN_FAILED = "sign_in_failed"
CONFIRMATION_FAILED = "confirmation_failed"
FORM_REFUSED = "form_refused"
WRONG_HOST = "wrong_host"
TOKEN_REFUSED = "token_refused"
REFUSED, THROTTLED = "refused", "throttled"
MAX_WORD = 40

logger = logging.getLogger("shopdesk.requests")


def note_event(request, event: str) -> None:
    """Have a line about this event of security written after the request."""
    request.security_event = event


def log_request(request, status: int, *, seconds: float) -> None:
    """Write the line of the request, and that of what it may be an attempt of."""
    end = f"user={_user(request)} id={request.request_id}"
    asked = f"{_method(request)} {path_of(request)} {status} {seconds * 1000:.0f}ms"
    logger.info("%s request %s %s", _now(), asked, end)
    if event := _event(request, status):
        logger.warning("%s security %s %s", _now(), event, end)


def _event(request, status: int) -> str:
    if status == 429:
        return THROTTLED
    return getattr(request, "security_event", REFUSED if status == 403 else "")


def path_of(request) -> str:
    """Return the path; of one that leads nowhere, only its first word.

    The log removes the token of a customer's link from it.
    """
    if request.resolver_match:
        return quote(request.path)
    words = request.path.strip("/").split("/")
    return f"/{quote(words[0][:MAX_WORD])}" + ("/…" if len(words) > 1 else "")


def _method(request) -> str:
    return quote(request.method[:MAX_WORD])


def _user(request) -> str:
    if token := getattr(request, "api_token", None):
        return f"token{token.pk}"
    # Only if the request has asked for it: else this would read the database.
    known = hasattr(request, "_cached_user") and request.user.pk
    return str(known or "-")


def _now() -> str:
    return f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
