"""Two records of one thing become one: the preview, and the page that shows it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import models
from django.shortcuts import redirect, render
from django.utils.translation import gettext

from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import day
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp

MAX_FOUND = 30
"""Records offered at once to merge."""


@dataclass(frozen=True)
class Difference:
    """A field in which two records differ; `lost` is empty if nothing is lost."""

    label: str
    stays: str
    lost: str


@dataclass(frozen=True)
class Merge:
    """What merging `gone` into `kept` does."""

    differences: list[Difference]
    moves: list[tuple[str, int]]
    note: str = ""
    """A sentence on what else is to be known."""


def differences(
    kept: models.Model,
    gone: models.Model,
    names: Iterable[str],
    *,
    merged: Callable[[Any, Any, str], Any],
) -> list[Difference]:
    """Return the fields that differ; `merged` says which value of a field stays."""
    found = []
    for name in names:
        mine, other = getattr(kept, name), getattr(gone, name)
        if mine == other:
            continue
        field = kept._meta.get_field(name)
        stays = merged(kept, gone, name)
        values = [value for value in (mine, other) if value != stays]
        lost = values[0] if len(values) == 1 else None  # None if both stay
        label = str(field.verbose_name)
        found.append(Difference(label, _text(field, stays), _text(field, lost)))
    return found


def _text(field: models.Field, value) -> str:
    if value in (None, ""):
        return ""
    if isinstance(field, models.DateField):
        return day(value)
    return str(dict(field.flatchoices).get(value, value))


def locked(model: type[models.Model], *records: models.Model) -> list:
    """Lock both, in one order, so that two merges do not wait for each other."""
    rows = model._base_manager.select_for_update().order_by("pk")
    found = rows.in_bulk([record.pk for record in records])
    if len(found) < 2:
        raise RefusedError(gettext("Choose another record: these are one already."))
    return [found[record.pk] for record in records]


def merge_page(request, kept, *, form, search, preview, action, swap: str):
    """Search for another record of `kept`, show what would move, and merge it.

    `form` is a form class with a `query`; `search` finds records by it. `swap` is the
    name of this page's address, by which the other record is kept instead.
    """
    form = form(request.GET if "query" in request.GET else None)
    facts = {"kept": kept, "kind": kept._meta.verbose_name, "swap": swap}
    gone, other = None, request.GET.get("other", "")
    if other.isascii() and other.isdigit() and len(other) < 19:
        gone = type(kept)._default_manager.filter(pk=other).first()
    if gone is not None:
        if request.method == "POST" and attempt(
            request, None, action, kept, gone, stamp=Stamp.of(request)
        ):
            messages.success(request, gettext("Merged into %(kept)s.") % {"kept": kept})
            return redirect(kept)
        try:
            facts["merge"] = preview(kept, gone)
        except RefusedError as refusal:
            facts["refusal"] = str(refusal)
    elif form.is_valid():
        found = search(form.cleaned_data["query"])
        facts["found"] = found.exclude(pk=kept.pk)[:MAX_FOUND]
    facts |= {"gone": gone, "form": form}
    return render(request, "shopdesk/look/merge.html", facts)
