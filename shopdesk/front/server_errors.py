"""Why did a request fail, what is known about its entries, and what can be done?

The page claims only what is known. A form that was sent can be sent again from it: its
key keeps it from being saved twice.
"""

import errno
import sys
from dataclasses import dataclass

from django.core.exceptions import DisallowedHost, RequestDataTooBig
from django.db import Error
from django.http import HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.translation import gettext, gettext_lazy

from shopdesk.sent_forms.entries import listed
from shopdesk.sent_forms.once import key_of
from shopdesk.serving.request_log import WRONG_HOST, note_event
from shopdesk.staff.permissions import PUBLIC_URLS

RETRY_SECONDS = 10


@dataclass(frozen=True)
class Cause:
    """What the storage could not do.

    SQLite says it in `texts`; PostgreSQL by `codes` (SQLSTATE, or the first characters
    of a class); the operating system by `numbers`.
    """

    heading: str
    sentence: str
    texts: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()
    numbers: tuple[int, ...] = ()


CAUSES = (
    Cause(
        gettext_lazy("The database is busy"),
        gettext_lazy(
            "Another task is using the database. This usually takes a few seconds."
        ),
        texts=("database is locked", "table is locked", "database is busy"),
        codes=("55P03", "57014", "40P01", "40001"),
    ),
    Cause(
        gettext_lazy("The disk is full"),
        gettext_lazy(
            "The server has no space left to save anything. Free some space on"
            " its disk;"
            " nothing has to be restarted."
        ),
        texts=("database or disk is full",),
        codes=("53100",),
        numbers=(errno.ENOSPC, errno.EDQUOT),
    ),
    Cause(
        gettext_lazy("The database is read-only"),
        gettext_lazy(
            "The server can read its data but not save anything. Its disk or"
            " database must"
            " be made writable again; nothing has to be restarted."
        ),
        texts=("readonly database",),
        codes=("25006",),
        numbers=(errno.EROFS,),
    ),
    Cause(
        gettext_lazy("The database file is damaged"),
        gettext_lazy(
            "Stop the server and restore the last backup: manage.py restore FILE."
        ),
        texts=("disk image is malformed", "file is not a database"),
        codes=("XX001", "XX002"),
    ),
    Cause(
        gettext_lazy("The database cannot be reached"),
        gettext_lazy(
            "The server has no connection to its database, or cannot open its file."
        ),
        texts=("unable to open database", "disk I/O error", "connection"),
        codes=("08", "57P"),
    ),
)
UNKNOWN = Cause(
    gettext_lazy("Server error"), gettext_lazy("Something went wrong on the server.")
)
FOR_VISITORS = Cause(
    gettext_lazy("This page is not available"),
    gettext_lazy("Please try again later, or contact the shop."),
)
"""Who is no member of staff is not told what the server lacks."""


def server_error(request) -> HttpResponse:
    """Answer a request that failed: 503 if the storage is the cause, else 500."""
    cause = cause_of(sys.exc_info()[1])
    status = 500 if cause is UNKNOWN else 503
    if _is_public(request):
        cause = FOR_VISITORS
    if getattr(request, "htmx", None):
        text = (
            f"{cause.heading}. {cause.sentence} {_known(request)}"
            f" Request {_id(request)}."
        )
        response = HttpResponse(text, content_type="text/plain", status=status)
    else:
        facts = {"cause": cause, "known": _known(request), "id": _id(request)}
        response = render(request, "500.html", facts | _entries(request), status=status)
    if status == 503:
        response["Retry-After"] = RETRY_SECONDS
    response["Cache-Control"] = "no-store, private"
    return response


def bad_request(request, exception) -> HttpResponse:
    """Answer a request that cannot be read, or that is for another host.

    Without the request's context: the host is wrong for whatever a page asks of it.
    """
    template = "400.html"
    if isinstance(exception, DisallowedHost):
        note_event(request, WRONG_HOST)
        template = "shopdesk/front/wrong_host.html"
    if isinstance(exception, RequestDataTooBig):
        return HttpResponse(render_to_string("413.html"), status=413)
    return HttpResponse(render_to_string(template), status=400)


def _is_public(request) -> bool:
    """Whether the page is open to everybody, such as a customer's link."""
    match = request.resolver_match
    return match is not None and match.view_name in PUBLIC_URLS


def _id(request) -> str:
    """Return the request's id, by which the log has more about it."""
    return getattr(request, "request_id", "-")


def cause_of(error: BaseException | None) -> Cause:
    """Return the first cause that the error, or one that led to it, names."""
    while error is not None:
        for cause in CAUSES:
            if _names(error, cause):
                return cause
        error = error.__cause__ or error.__context__
    return UNKNOWN


def _names(error: BaseException, cause: Cause) -> bool:
    if isinstance(error, OSError):
        return error.errno in cause.numbers
    code = getattr(error, "sqlstate", None)
    if code:
        return code.startswith(cause.codes) if cause.codes else False
    is_database = isinstance(error, Error) and getattr(error, "__cause__", None)
    said = str(error)
    return bool(is_database) and any(text in said for text in cause.texts)


def _known(request) -> str:
    """Say what is known about the entries that were sent."""
    if request.method != "POST":
        return ""
    if getattr(request, "used_form_key", ""):
        return gettext("Your entries were saved before this happened.")
    if key_of(request):
        return gettext(
            "It is not certain whether your entries were saved. Send them again: they"
            " are not saved twice."
        )
    return gettext("It is not certain whether your entries were saved.")


def _entries(request) -> dict:
    """Return what the page needs to show the entries and to send them again."""
    if not key_of(request) or getattr(request, "used_form_key", ""):
        return {}
    sent = list(request.POST.lists())
    return {
        "entries": listed(sent),
        "fields": [(name, value) for name, values in sent for value in values],
        "path": request.get_full_path(),
        "has_files": bool(request.FILES),
    }
