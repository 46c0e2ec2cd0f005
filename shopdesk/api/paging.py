"""Parameters of a list, and its pages.

A page begins after the row of its cursor, in the order of the keys, so that no row is
missing or comes twice however many are added meanwhile.
"""

import re
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Annotated, Any, Generic, TypeVar

from django.db.models import QuerySet
from django.utils import timezone
from ninja import Field, Schema
from ninja.errors import HttpError
from pydantic import BeforeValidator

MAX_LIMIT = 500
MAX_KEY = 2**63 - 1
OVERLAP = timedelta(minutes=5)
"""What is being written while a page is read may have an earlier time."""

Item = TypeVar("Item")


def _iso_day(value: object) -> object:
    """Return the day of an ISO 8601 date.

    Raises: ValueError. The library alone would also take numbers, as seconds.
    """
    if not isinstance(value, str):
        return value
    try:
        if not re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
            raise ValueError
        return _in_range(date.fromisoformat(value))
    except ValueError:
        raise ValueError("enter a date from 1990, such as 2026-03-31") from None


def _iso_moment(value: object) -> object:
    """Return the moment of an ISO 8601 text; a date alone is its beginning."""
    if not isinstance(value, str):
        return value
    try:
        if re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
            moment = datetime.combine(date.fromisoformat(value), time.min)
        else:
            moment = datetime.fromisoformat(value)
        _in_range(moment)
    except ValueError:
        raise ValueError(
            "enter a date or a moment from 1990, such as 2026-03-31 or"
            " 2026-03-31T09:30:00Z; a + in an address is written as %2B"
        ) from None
    return timezone.make_aware(moment) if timezone.is_naive(moment) else moment


def _in_range(day: Any) -> Any:
    if not 1990 <= day.year <= 2999:
        raise ValueError
    return day


Day = Annotated[date, BeforeValidator(_iso_day)]
Moment = Annotated[datetime, BeforeValidator(_iso_moment)]


class ListParams(Schema):
    cursor: int = Field(
        0, ge=0, le=MAX_KEY, description="“next_cursor” of the page before."
    )
    limit: int = Field(100, ge=1, le=MAX_LIMIT, description="Items of a page.")


class ChangedParams(ListParams):
    changed_since: Moment | None = Field(
        None,
        description=(
            "Only what was added or changed since that moment (ISO 8601; without an"
            " offset in the shop’s time zone). After an import or a restored backup:"
            " all. Records that were deleted are not reported."
        ),
    )


class CreatedParams(ListParams):
    created_since: Day | None = Field(
        None, description="Only those of that day or later (ISO 8601)."
    )


class Page(Schema, Generic[Item]):
    items: list[Item]
    next_cursor: int | None = Field(
        description="The “cursor” of the next page; null on the last one."
    )
    as_of: datetime = Field(
        description=(
            "Use that of the first page as “changed_since” next time. It is a few"
            " minutes early: some items may come twice, none is missed."
        )
    )


def page(
    request, rows: QuerySet, params: ListParams, answer: Callable[..., dict]
) -> dict:
    """Return a page of rows, each as `answer(row, token)` gives it."""
    refuse_unknown(request, params)
    as_of = timezone.now() - OVERLAP
    found = rows.filter(pk__gt=params.cursor).order_by("pk")
    found = list(found[: params.limit + 1])
    items = found[: params.limit]
    return {
        "items": [answer(row, request.auth) for row in items],
        "next_cursor": items[-1].pk if len(found) > len(items) else None,
        "as_of": as_of,
    }


def refuse_unknown(request, params: Schema) -> None:
    """Raise for a parameter that is not there: it may be a mistyped filter."""
    known = type(params).model_fields
    if unknown := sorted(set(request.GET) - set(known)):
        names = ", ".join(known)
        raise HttpError(400, f"Unknown parameter: {unknown[0]}. Use: {names}.")
