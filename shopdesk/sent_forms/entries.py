"""What is shown to the sender of a form that could not be saved: entries and page."""

from collections.abc import Iterable
from urllib.parse import urlsplit

from django.http import HttpRequest
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.text import capfirst

# What forms carry unseen: versions, keys, drawings, the counts of a list of forms.
UNSEEN = set(
    """
    csrfmiddlewaretoken form_key held key last_movement_id opened seen signature version
    version_now TOTAL_FORMS INITIAL_FORMS MIN_NUM_FORMS MAX_NUM_FORMS
    """.split()
)
SECRET = ("password", "passphrase", "code", "secret", "token")


def listed(entries: Iterable[tuple[str, list[str]]]) -> list[tuple[str, str]]:
    """Return label and text of each entry of a form; no secrets, no blanks."""
    found = []
    for name, values in entries:
        text = ", ".join(value for value in values if value.strip())
        own_name = name.rpartition("-")[2]
        if not text or own_name in UNSEEN or name.startswith("initial-"):
            continue
        if text == "on":  # what browsers send for a ticked box
            text = "yes"
        if any(word in name.lower() for word in SECRET):
            text = "kept, but not shown"
        found.append((capfirst(own_name.replace("_", " ")), text))
    return found


def page_of(request: HttpRequest) -> str:
    """Return the path of the page that had the form; Today if that is unknown."""
    page = request.headers.get("HX-Current-URL") or request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(page, allowed_hosts={request.get_host()}):
        return "/"
    parts = urlsplit(page)
    return parts.path + (f"?{parts.query}" if parts.query else "")
