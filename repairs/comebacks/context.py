"""What pages, papers and downloads show: the record that was asked for, kept while
nothing has changed, and the fixes of a fault with what they cost.

A record takes a second or more of a large shop. It is kept under a fingerprint of all
that it is made from, so it is served again only while that is the same.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from hashlib import sha256

from django.core.cache import cache
from django.db.models import Q

from repairs.comebacks.asked import Asked
from repairs.comebacks.compare import cost_to_shop
from repairs.comebacks.queries import Beside, comeback_record, fixes_beside
from repairs.comebacks.record import FaultRecord, Record
from repairs.faults.models import Fault, Fix, UsualPart
from repairs.jobs.models import Changed
from repairs.stock.queries import current_costs
from shopdesk.money import rounded
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import FixCost, PartNeed, fix_cost

PLACES = 12  # records kept at once, so that no memory fills with past months
DAY = 24 * 3600


# --- the record, kept ---------------------------------------------------------


def record_of(asked: Asked, *, shop: Shop) -> Record:
    """The comeback table that was asked for; reckoned anew only if anything changed."""
    seen = fingerprint(shop)
    whole = _kept(replace(asked, kind="", maker="", model="", by=""), seen, shop)
    return _kept(asked, seen, shop, among=whole) if asked.is_narrowed else whole


def _kept(asked: Asked, seen: str, shop: Shop, *, among: Record | None = None):
    question = f"{seen} {asked}"
    place = f"comebacks-{int(sha256(repr(asked).encode()).hexdigest(), 16) % PLACES}"
    found = cache.get(place)
    if found is not None and found[0] == question:
        return found[1]
    if among is None:
        record = comeback_record(as_of=asked.as_of, within=asked.within, shop=shop)
    else:
        record = comeback_record(
            as_of=asked.as_of,
            within=asked.within,
            shop=shop,
            only=repairs_asked(asked),
            among=among.table,
        )
        record = replace(
            record,
            only=asked.words,
            said_first=tuple(asked.sentences),
            honest_of_all=tuple(among.honest),
        )
    cache.set(place, (question, record), DAY)
    return record


def repairs_asked(asked: Asked) -> Q:
    """The repairs that alone are counted."""
    only = Q()
    if asked.kind:
        only &= Q(job__device__model__kind=asked.kind)
    if asked.maker:
        only &= Q(job__device__model__maker=asked.maker)
    if asked.model:
        only &= Q(job__device__model__model=asked.model)
    if asked.by:
        only &= Q(by__username=asked.by)
    return only


def fingerprint(shop: Shop) -> str:
    """One short text for all that a record is made from: another when any changes.

    The database leaves a mark at every change of a row that counts, whoever makes it:
    see COUNTED in repairs/guards.py.
    """
    marks = sorted(Changed.objects.marks().items())
    parts = [shop.max_comeback_risk, shop.verdict_confidence, shop.places, marks]
    return sha256(repr(parts).encode()).hexdigest()


# --- the fixes of a fault, with what they cost ----------------------------------


@dataclass(frozen=True)
class Choice:
    """A fix of a fault: its record, its price, and its cost to the shop in the end."""

    beside: Beside
    worth: FixCost
    in_the_end: Decimal

    @property
    def fix(self) -> Fix:
        return self.beside.fix

    @property
    def row(self):
        return self.beside.row

    @property
    def beats_said(self) -> str:
        return self.beside.beats_said


def choices(fault: Fault, beside: FaultRecord, *, record: Record, shop: Shop) -> list:
    """Each fix of the fault with its record and its costs, the surest to hold first.

    A fix never done here is taken to come back as any repair of the shop does, and to
    cost as much again.
    """
    known = fixes_beside(fault, beside)
    worths = usual_worths([one.fix for one in known], shop=shop)
    found = []
    for one in known:
        worth = worths[one.fix.pk]
        in_the_end = cost_to_shop(
            own_cost=worth.cost,
            chance=one.row.risk if one.row else record.shop_risk,
            rework_cost=one.row.mean_redo_cost if one.row else worth.cost,
        )
        in_the_end = rounded(in_the_end, places=shop.places)
        found.append(Choice(beside=one, worth=worth, in_the_end=in_the_end))
    return found


def usual_worths(fixes: list[Fix], *, shop: Shop) -> dict[int, FixCost]:
    """What each fix is charged and costs by the fault book and the shop's rates."""
    usual = list(UsualPart.objects.filter(fix__in=fixes).select_related("part"))
    costs = current_costs({one.part for one in usual})
    rates = shop.rates()
    return {
        fix.pk: fix_cost(
            fix.minutes,
            [
                PartNeed(
                    one.part.name,
                    one.quantity,
                    costs.get(one.part_id),
                    one.part.fixed_price,
                )
                for one in usual
                if one.fix_id == fix.pk
            ],
            rates=rates,
            hourly_cost=shop.hourly_cost,
        )
        for fix in fixes
    }
