"""Is this the first time that this form is sent?

Every form has a key of its own. The action and the note that its key is used are one
transaction, so a form that is sent again, at the same time or after a lost response,
cannot act twice.
"""

import hashlib
import json
import secrets
from contextlib import contextmanager

from django.db import IntegrityError, transaction
from django.http import HttpRequest
from django.utils import timezone

from shopdesk.sent_forms.models import SentForm

KEY_FIELD = "form_key"
MAX_KEY_LENGTH = 64
# Differ between two sendings of the same entries, or are no entries.
NO_ENTRIES = {KEY_FIELD, "csrfmiddlewaretoken"}


class AlreadySentError(Exception):
    """The form was handled before; the middleware repeats the response."""


def new_key() -> str:
    """Return a random key of 128 bits."""
    return secrets.token_urlsafe(16)


def key_of(request: HttpRequest) -> str:
    """Return the key of the form that was sent, if it has one."""
    if request.method != "POST":
        return ""
    return request.POST.get(KEY_FIELD, "")[:MAX_KEY_LENGTH]


def sent_before(request: HttpRequest) -> SentForm | None:
    """Return the note of the same key, if it is used."""
    key = key_of(request)
    return key and SentForm.objects.filter(key_hash=hash_of(key)).first() or None


@contextmanager
def act_once(request: HttpRequest):
    """Open a transaction in which the form's key is used up.

    One request may act several times. Raises AlreadySentError if another request has
    used the key; while that one is still in its transaction, this one waits.
    """
    key = key_of(request)
    if not key or getattr(request, "used_form_key", ""):
        yield
        return
    with transaction.atomic():
        try:
            SentForm.objects.create(
                key_hash=hash_of(key),
                content_hash=content_hash(request),
                sent_at=timezone.now(),
            )
        except IntegrityError:
            raise AlreadySentError from None
        yield
    request.used_form_key = key


def content_hash(request: HttpRequest) -> str:
    """Return a hash of sender, path and entries.

    The form's key is part of it: the database has not got it, so that nobody can find
    a short secret, such as a device's passcode, by trying.
    """
    entries = [
        (name, values)
        for name, values in sorted(request.POST.lists())
        if name not in NO_ENTRIES
    ]
    files = [(name, f.name, f.size) for name, f in sorted(request.FILES.items())]
    sent = [key_of(request), request.user.pk, request.path, entries, files]
    return hash_of(json.dumps(sent))


def hash_of(text: str) -> str:
    """Return the SHA-256 of `text`; invalid Unicode is hashed, too."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
