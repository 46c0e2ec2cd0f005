"""Cache expensive results until the records behind them change."""

from collections.abc import Callable
from hashlib import sha256
from typing import TypeVar

from django.core.cache import cache

from repairs.jobs.models import ChangeMark
from shopdesk.serving.analysis_database import read_from_copy
from shopdesk.shop.models import Shop

MAX_RESULTS = 12  # of a kind, so that past months do not fill the memory
DAY = 24 * 3600

Result = TypeVar("Result")


def fingerprint(shop: Shop) -> str:
    """Return a short text that changes with any change of the counted records.

    A database trigger leaves a mark at every change of such a row, by any program: see
    COUNTED in repairs/guards.py.
    """
    marks = sorted(ChangeMark.objects.marks().items())
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
    """Return the result of `calculate`, or the cached one for the same arguments.

    A cached result is used while the fingerprint is the same, or if it `may_be_old`.
    """
    place = int(sha256(repr(query).encode()).hexdigest(), 16) % MAX_RESULTS
    stored = cache.get(f"{kind}-{place}")
    if stored is not None:
        stored_query, stored_fingerprint, result = stored
        is_current = stored_fingerprint == fingerprint or may_be_old(result)
        if stored_query == repr(query) and is_current:
            return result
    result = read_from_copy(calculate)
    cache.set(f"{kind}-{place}", (repr(query), fingerprint, result), DAY)
    return result
