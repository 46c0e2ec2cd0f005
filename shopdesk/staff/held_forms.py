"""Entries of a form that could not be saved because the session had ended.

They travel through the sign-in page in a hidden field, encrypted for the person who
typed them and for one path, and are shown to that person before they are sent again.
Who typed them is known from the page's CSRF token: a cookie notes whose it was.
"""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import asdict, dataclass
from urllib.parse import urlsplit

from django.conf import settings
from django.core import signing
from django.middleware.csrf import _unmask_cipher_token
from django.urls import Resolver404, resolve
from django.utils.crypto import salted_hmac

from shopdesk.encryption import DecryptionError, decrypt, encrypt
from shopdesk.sent_forms.entries import listed, page_of
from shopdesk.staff.models import User
from shopdesk.staff.permissions import NEVER_HELD_URLS

FIELD = "held"
MAX_AGE = 12 * 3600
COOKIE = "__Host-typed_by" if settings.HTTPS else "typed_by"
COOKIE_AGE = 2 * 24 * 3600
MAX_TOKENS = 8  # sign-ins that one browser remembers
PURPOSE = "held form"


@dataclass(frozen=True)
class HeldForm:
    """What was sent to `path` from `page`, in the order of the form."""

    path: str
    page: str
    entries: list[tuple[str, list[str]]]
    has_files: bool

    @property
    def listed(self) -> list[tuple[str, str]]:
        """Return what the page shows: labels and values."""
        return listed(self.entries)


def hold(request, user) -> str:
    """Return the entries of this request, encrypted for `user`; "" if they can't be."""
    if not _may_be_held(request):
        return ""
    entries = [
        (name, values)
        for name, values in request.POST.lists()
        if name != "csrfmiddlewaretoken"
    ]
    held = HeldForm(
        path=request.get_full_path(),
        page=_page(request),
        entries=entries,
        has_files=bool(request.FILES),
    )
    text = signing.dumps(asdict(held), salt=PURPOSE, compress=True)
    field = urlsafe_b64encode(encrypt(text, **_encryption(user))).decode()
    # The sign-in form must be able to carry it.
    too_long = settings.DATA_UPLOAD_MAX_MEMORY_SIZE - 10_000
    return field if len(field) <= too_long else ""


def read(field: str, user) -> HeldForm | None:
    """Return the entries if they are this user's, unchanged, recent and for us."""
    try:
        text = decrypt(urlsafe_b64decode(field), **_encryption(user))
        held = HeldForm(**signing.loads(text, salt=PURPOSE, max_age=MAX_AGE))
    except (DecryptionError, signing.BadSignature, ValueError):
        return None
    return held if may_keep(held.path) else None


def typed_by(request) -> User | None:
    """Return the user whose page sent this request, if this browser knows."""
    token = request.POST.get("csrfmiddlewaretoken") or request.headers.get(
        "X-CSRFToken", ""
    )
    try:
        secret = _unmask_cipher_token(token) if len(token) == 64 else token
    except ValueError:  # not of a token's characters
        return None
    pk = _tokens(request).get(_fingerprint(secret)) if secret else None
    return User.objects.filter(pk=pk).first() if pk else None


def note_token(request, response) -> None:
    """Note in the browser whose page the current CSRF token belongs to."""
    secret = request.META.get("CSRF_COOKIE")
    if not secret:
        return
    tokens = _tokens(request)
    mark = _fingerprint(secret)
    if tokens.get(mark) == request.user.pk:
        return
    tokens.pop(mark, None)
    latest = [*tokens.items(), (mark, request.user.pk)][-MAX_TOKENS:]
    response.set_signed_cookie(
        COOKIE,
        json.dumps(dict(latest)),
        salt=PURPOSE,
        max_age=COOKIE_AGE,
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )


def _tokens(request) -> dict[str, int]:
    stored = request.get_signed_cookie(
        COOKIE, default="", salt=PURPOSE, max_age=COOKIE_AGE
    )
    return json.loads(stored) if stored else {}


def _fingerprint(secret: str) -> str:
    return salted_hmac(PURPOSE, secret, algorithm="sha256").hexdigest()[:20]


def _encryption(user) -> dict[str, str]:
    return {
        "purpose": PURPOSE,
        "record": f"user:{user.pk}",
        "secret": settings.SECRET_KEY,
    }


def _may_be_held(request) -> bool:
    """Whether a page of ours sent it: nobody else may put words in a user's mouth."""
    origin = request.headers.get("Origin")
    here = f"{request.scheme}://{request.get_host()}"
    is_ours = origin in (None, here)
    is_ours &= request.headers.get("Sec-Fetch-Site") in (None, "same-origin")
    return request.method == "POST" and is_ours and may_keep(request.path)


def may_keep(path: str) -> bool:
    """Whether it is a page of ours whose entries may be kept."""
    if path.startswith("//"):  # another host
        return False
    try:
        return resolve(urlsplit(path).path).view_name not in NEVER_HELD_URLS
    except Resolver404:
        return False


def _page(request) -> str:
    """Return the page that the form was on, unless it is one of signing in."""
    page = page_of(request)
    return page if may_keep(page) else "/"
