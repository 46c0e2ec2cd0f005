"""What is expensive to calculate is kept until the records it is made from change."""

from collections.abc import Callable
from hashlib import sha256
from typing import TypeVar

from django.core.cache import cache

from repairs.jobs.models import Changed
from shopdesk.shop.models import Shop

MAX_RESULTS = 12  # of a kind, so that past months do not fill the memory
DAY = 24 * 3600

Result = TypeVar("Result")


def fingerprint(shop: Shop) -> str:
    """Return a short text that is another one after any change of what counts.

    The database leaves a mark at every change of such a row, whoever makes it: see
    COUNTED in repairs/guards.py.
    """
    marks = sorted(Changed.objects.marks().items())
    parts = [
        shop.max_comeback_risk,
        shop.verdict_confidence,
        shop.places,
        shop.currency,
        marks,
    ]
    return sha256(repr(parts).encode()).hexdigest()


def cached(
    kind: str,
    query: object,
    calculate: Callable[[], Result],
    *,
    fingerprint: str,
    may_be_old: Callable[[Result], bool] = lambda result: False,
) -> Result:
    """Return the result of `calculate`, or the kept one of the same query.

    A kept result is used while the fingerprint is the same, or if it `may_be_old`.
    """
    place = int(sha256(repr(query).encode()).hexdigest(), 16) % MAX_RESULTS
    stored = cache.get(f"{kind}-{place}")
    if stored is not None:
        stored_query, stored_fingerprint, result = stored
        is_current = stored_fingerprint == fingerprint or may_be_old(result)
        if stored_query == repr(query) and is_current:
            return result
    result = calculate()
    cache.set(f"{kind}-{place}", (repr(query), fingerprint, result), DAY)
    return result
