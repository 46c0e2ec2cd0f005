"""Forms as a page sends them: each with a key of its own, which a change uses up."""

import re
from contextlib import ExitStack
from functools import wraps

from django.db import connection
from django.urls import Resolver404, resolve
from lxml import html

from shopdesk.sent_forms.once import KEY_FIELD, new_key

WRITE = re.compile(
    r'\s*(?:INSERT (?:OR IGNORE )?INTO|UPDATE|DELETE FROM)\s+"?(\w+)', re.I
)
# Sessions, counts of requests and events. Signing in may be repeated.
TECHNICAL = re.compile(
    r"django_session|axes_|shopdesk_(?:session|trailentry|requestcount)"
)
MAY_REPEAT = {
    "staff:sign_in",
    "staff:set_up",
    "staff:sign_out",
    "staff:code",
    "staff:confirm",
    "staff:password",
}


class UnprotectedFormError(AssertionError):
    """A view changed something without using up the form's key."""


def post_with_key(post):
    """Return `Client.post` as a browser would do it."""

    @wraps(post)
    def send(client, path, data=None, *args, **facts):
        is_form = (data is None or hasattr(data, "items")) and not args
        if not is_form or "content_type" in facts:
            return post(client, path, data, *args, **facts)
        if KEY_FIELD not in (data or {}):
            data = {**(data or {}), KEY_FIELD: new_key()}
        written = set()
        with ExitStack() as stack:
            stack.enter_context(connection.execute_wrapper(_noting(written)))
            response = post(client, path, data, *args, **facts)
        if written and "shopdesk_sentform" not in written and not _may_repeat(path):
            raise UnprotectedFormError(
                f"POST {path} wrote to {sorted(written)}: use attempt(), saved() or"
                " act_once()."
            )
        return response

    return send


def typed_in(response):
    """What a browser would send back of the main form of a page, as it stands."""
    forms = html.fromstring(response.text.encode()).forms
    sent = [dict(entries(form)) for form in forms if form.method == "POST"]
    return max((form for form in sent if KEY_FIELD in form), key=len)


def entries(form):
    for box in form.inputs:
        kind = box.get("type", "")
        if not box.name or kind in ("submit", "button", "file") or box.tag == "button":
            continue
        if kind in ("checkbox", "radio"):
            if box.checked:
                yield box.name, box.get("value", "on")
        elif box.tag == "textarea":
            yield box.name, (box.value or "").removeprefix("\n")
        else:
            yield box.name, box.value or ""


def _noting(written):
    def note(execute, sql, params, many, context):
        found = WRITE.match(sql)
        if found and not TECHNICAL.match(found[1]):
            written.add(found[1])
        return execute(sql, params, many, context)

    return note


def _may_repeat(path):
    try:
        return resolve(path.split("?")[0]).view_name in MAY_REPEAT
    except Resolver404:
        return False
