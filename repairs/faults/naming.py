"""Codes that fit the fault book, and faults that may be meant twice."""

import re
from collections import Counter

from repairs.faults.models import Fault, FaultQuerySet
from shopdesk.lookup import normalize_search

SMALL_WORDS = frozenset("a an and at by for from in is of on the to with".split())


def suggested_code(area: str, part: str, mode: str, *, taken: FaultQuerySet) -> str:
    """Return a free code such as PWR-SOCKET-LOOSE; "" without area or part.

    The first group is the one that faults of the area have already.
    """
    if not (area and part):
        return ""
    groups = [_prefix_of(area, taken) or _group(area)[:3], _group(part), _group(mode)]
    code = "-".join(filter(None, groups))[:36]
    codes = set(taken.filter(code__startswith=code).values_list("code", flat=True))
    numbers = (f"{code}-{number}" for number in range(2, 1000))
    return code if code not in codes else next(n for n in numbers if n not in codes)


def _prefix_of(area: str, faults: FaultQuerySet) -> str:
    codes = faults.filter(area__iexact=area).values_list("code", flat=True)
    prefixes = Counter(code.partition("-")[0] for code in codes)
    return prefixes.most_common(1)[0][0] if prefixes else ""


def _group(text: str) -> str:
    """Return the first word that says something, in capitals and digits."""
    words = re.findall("[A-Z0-9]+", normalize_search(text).upper())
    return next((w for w in words if w.lower() not in SMALL_WORDS), "")[:8]


def similar_faults(name: str, area: str, part: str, mode: str) -> list[Fault]:
    """Return the faults in use that have the same name, or place and failure mode.

    Names are compared as sets of words, without small ones, case and accents.
    """
    wanted = _words(name)
    place = [_words(text) for text in (area, part, mode)]
    found = []
    for fault in Fault.objects.filter(is_retired=False):
        own = [_words(text) for text in (fault.area, fault.part, fault.mode)]
        if _words(fault.name) == wanted or (all(place) and own == place):
            found.append(fault)
    return found


def _words(text: str) -> frozenset[str]:
    return frozenset(normalize_search(text).split()) - SMALL_WORDS
