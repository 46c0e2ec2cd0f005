"""The JSON API as a whole: who may ask, what errors look like, how lists register."""

from ninja import NinjaAPI
from ninja.errors import AuthenticationError, Throttled, ValidationError

from shopdesk.api.answers import Problem
from shopdesk.api.bearer import BearerToken

DESCRIPTION = """\
Everything is read by GET with the header “Authorization: Bearer TOKEN”. Lists come in
pages: ask again with “cursor” set to “next_cursor” until it is null. Days are
YYYY-MM-DD, moments have an offset (ISO 8601), amounts are texts with their currency.
An error is an object with “detail”: 400 for a parameter that is unknown or wrong, 401
for a token that is missing, unknown, expired or revoked, 403 for what the token does
not show, 429 with Retry-After after too many requests."""

api = NinjaAPI(
    title="Repair shop data",
    version="1",
    description=DESCRIPTION,
    urls_namespace="api",
    docs_url=None,
    openapi_url=None,
    auth=BearerToken(),
)

PROBLEMS = {code: Problem for code in (400, 401, 403, 429)}


@api.exception_handler(AuthenticationError)
def _not_authenticated(request, error):
    response = api.create_response(
        request, {"detail": "The token is missing or not valid."}, status=401
    )
    # RFC 6750, section 3: the error is named only if a token was sent.
    sent = 'realm="shop"'
    if "Authorization" in request.headers:
        sent += ', error="invalid_token"'
    response["WWW-Authenticate"] = f"Bearer {sent}"
    return response


@api.exception_handler(Throttled)
def _throttled(request, error):
    text = f"Too many requests. Wait {error.wait} seconds."
    response = api.create_response(request, {"detail": text}, status=429)
    response["Retry-After"] = error.wait
    return response


@api.exception_handler(ValidationError)
def _invalid(request, error):
    """Name each wrong parameter with what is wrong."""
    found = (
        f"{wrong['loc'][-1]}: {wrong['msg'].removeprefix('Value error, ')}"
        for wrong in error.errors
    )
    return api.create_response(request, {"detail": "; ".join(found)}, status=400)


def get_list(path: str, answer: type, summary: str):
    """Register a list at “path”."""
    return api.get(
        path,
        response={200: answer, **PROBLEMS},
        summary=summary,
        operation_id=path.strip("/").replace("-", "_"),
        url_name=path.strip("/").replace("-", "_"),
    )
