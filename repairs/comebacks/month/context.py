"""The month as it was asked for, kept while nothing it is made from has changed."""

from dataclasses import replace
from datetime import date
from hashlib import sha256

from django.core.cache import cache

from repairs.comebacks.asked import Asked
from repairs.comebacks.context import fingerprint, record_of, repairs_asked
from repairs.comebacks.month.months import month_before
from repairs.comebacks.month.named import Named
from repairs.comebacks.month.queries import EVERY, Some, groups_by, month_context
from shopdesk.shop.models import Shop

DAY = 24 * 3600
PLACES = 12  # months and lists of groups kept at once


def month_of(asked: Asked, *, shop: Shop) -> dict:
    """All that the page and the paper show, reckoned anew only if anything changed."""

    def reckoned():
        then = replace(asked, as_of=month_before(asked.as_of))
        return month_context(
            as_of=asked.as_of,
            within=asked.within,
            shop=shop,
            record=record_of(asked, shop=shop),
            before=record_of(then, shop=shop),
            some=_some(asked, then, shop) if asked.is_narrowed else EVERY,
        )

    return _kept(f"month {asked}", shop, reckoned)


def _some(asked: Asked, then: Asked, shop: Shop) -> Some:
    return Some(
        only=repairs_asked(asked),
        now=record_of(asked.of_all, shop=shop).table,
        then=record_of(then.of_all, shop=shop).table,
        asked=asked.in_address,
    )


def groups_of(*, as_of: date, within: int, shop: Shop) -> list[Named]:
    """Deliveries, models and board revisions, what matters first."""

    def reckoned():
        record = record_of(Asked(as_of=as_of, within=within), shop=shop)
        return groups_by(record, within=within)

    return _kept(f"groups {as_of} {within}", shop, reckoned)


def _kept(what: str, shop: Shop, reckoned):
    seen = f"{what} {fingerprint(shop)} {shop.currency}"
    place = f"month-{int(sha256(what.encode()).hexdigest(), 16) % PLACES}"
    found = cache.get(place)
    if found is None or found[0] != seen:
        found = (seen, reckoned())
        cache.set(place, found, DAY)
    return found[1]
