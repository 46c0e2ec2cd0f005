"""Eighteen months of a shop that never was, as rows of a history file.

All chance comes from one seeded source and all days count back from the day of filling,
so the same seed gives the same shop, only later.
"""

import math
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from repairs.history.demo import names
from repairs.history.demo.book import (
    FAULTS,
    FIXES,
    FaultFacts,
    FixFacts,
    Pair,
)
from repairs.history.demo.parts import PARTS
from repairs.history.rows import PartTold, Row, told_cost
from repairs.jobs import states

DAYS = 548
VISITS = 470
CUSTOMERS = 320
RATE = Decimal(68)
MARKUP = Decimal("1.6")
FINDING_FEE = Decimal(25)
WATCHED = 90

BAD_PART = "JCK-5521"
BAD_LOT = "K7-0413"
BAD_FROM, BAD_UNTIL = 310, 200
BAD_RISK = 0.45
"""The delivery of charging sockets that gives way; days before the day of filling."""


@dataclass(frozen=True)
class Owner:
    name: str
    email: str
    phone: str


@dataclass(eq=False)
class Thing:
    """A device and who brings it."""

    kind: str
    maker: str
    model: str
    serial: str
    owner: Owner
    away_until: int = DAYS * 2
    """Days before the day of filling from which it can come in again."""


@dataclass(frozen=True)
class Done:
    """What was done for one fault, or that none was found."""

    fault: FaultFacts | None
    outcome: str
    minutes: int
    charged: Decimal
    fix: FixFacts | None = None
    parts: tuple[PartTold, ...] = ()

    @property
    def parts_cost(self) -> Decimal:
        return told_cost(self.parts)


@dataclass(eq=False)
class Visit:
    thing: Thing
    came: int
    left: int
    complaint: str
    done: list[Done] = field(default_factory=list)
    back_from: "Visit | None" = None
    return_is: str = ""


def past(*, today: date, seed: int) -> list[Row]:
    """The rows of all jobs handed back before `today`."""
    visits = _Shop(random.Random(seed)).visits()
    return _rows(visits, today=today)


def customers(pick: random.Random) -> list[Owner]:
    """Invented people; some leave no mail, all leave a telephone."""
    pairs = [f"{given} {family}" for given in names.GIVEN for family in names.FAMILY]
    owners = []
    for n, name in enumerate(pick.sample(pairs, CUSTOMERS)):
        domain = pick.choice(("example.org", "example.net", "example.com"))
        mail = name.lower().replace(" ", ".").replace("-", "")
        phone = f"+441632960{n:03d}" if n % 2 else f"+447700900{n:03d}"
        email = "" if pick.random() < 0.25 else f"{mail}@{domain}"
        owners.append(Owner(name, email, phone))
    return owners


class _Shop:
    def __init__(self, pick: random.Random) -> None:
        self.pick = pick
        self.owners = customers(pick)
        self.things: list[Thing] = []

    def visits(self) -> list[Visit]:
        """Every visit, in no order."""
        done: list[Visit] = []
        for came in sorted(
            (self.pick.randrange(4, DAYS) for _ in range(VISITS)), reverse=True
        ):
            fault = self._fault()
            thing = self._thing(self.pick.choice(fault.kinds), came)
            self._visit(done, thing, fault, came)
        return done

    def _fault(self, kind: str = "") -> FaultFacts:
        faults = [f for f in FAULTS.values() if not kind or kind in f.kinds]
        return self.pick.choices(faults, [f.weight for f in faults])[0]

    def _thing(self, kind: str, came: int) -> Thing:
        """One seen long ago, now and then; else a new one."""
        known = [t for t in self.things if t.kind == kind and t.away_until - 200 > came]
        if known and self.pick.random() < 0.12:
            return self.pick.choice(known)
        maker, model = self.pick.choice(names.MODELS[kind])
        owner, serial = self.pick.choice(self.owners), ""
        has_one = any(t.owner is owner and t.model == model for t in self.things)
        if self.pick.random() > 0.08 or has_one:
            letters = "".join(self.pick.choices("ACDEFHJKMNPRTWXY", k=2))
            serial = f"{maker[:2].upper()}{letters}{self.pick.randrange(10**6):06d}"
        thing = Thing(kind, maker, model, serial, owner)
        self.things.append(thing)
        return thing

    def _visit(
        self,
        done: list[Visit],
        thing: Thing,
        fault: FaultFacts,
        came: int,
        *,
        back_from: Visit | None = None,
        redo_of: Pair | None = None,
    ) -> None:
        left = came - min(int(self.pick.expovariate(1 / 4)) + 1, 21)
        if left < 1:
            return  # it would be here today
        visit = Visit(thing, came, left, self.pick.choice(fault.complaints))
        visit.back_from = back_from
        thing.away_until = left
        if redo_of is not None:
            visit.return_is = "same_fault"
        done.append(visit)
        if redo_of is None and self._ends_without(visit, fault):
            return
        pair = self._pair(fault, redo_of)
        worst = self._repair(visit, fault, pair, is_free=redo_of is not None)
        if redo_of is None and self.pick.random() < 0.07:
            other = self._fault(thing.kind)
            if other is not fault:
                self._repair(visit, other, self._pair(other, None), is_free=False)
        self._comes_back(done, visit, fault, pair, worst)

    def _ends_without(self, visit: Visit, fault: FaultFacts) -> bool:
        """Nothing found, nothing to be done, or the customer says no."""
        chance = self.pick.random()
        if chance < 0.04:
            named, outcome = None, states.NO_FAULT_FOUND
        elif chance < 0.07:
            named, outcome = fault, states.NOT_REPAIRABLE
        elif chance < 0.12:
            named, outcome = fault, ""
        else:
            return False
        minutes = self.pick.randrange(15, 50)
        visit.done.append(Done(named, outcome, minutes, FINDING_FEE))
        return True

    def _pair(self, fault: FaultFacts, redo_of: Pair | None) -> Pair:
        if redo_of is not None and self.pick.random() < 0.7:
            return min(fault.pairs, key=lambda pair: pair.truth)
        return self.pick.choices(fault.pairs, [p.share for p in fault.pairs])[0]

    def _repair(
        self, visit: Visit, fault: FaultFacts, pair: Pair, *, is_free: bool
    ) -> float:
        """What was done; returns the chance that it is back within the watched days."""
        fix = FIXES[pair.fix]
        minutes = max(5, round(fix.minutes * math.exp(self.pick.gauss(0, 0.25))))
        parts = tuple(self._part(part, fix, visit.came) for part in fix.parts)
        price = Decimal(round(minutes * RATE / 60 * 2)) / 2
        price += round(told_cost(parts) * MARKUP, 2)
        visit.done.append(
            Done(
                fault,
                states.FIXED,
                minutes,
                Decimal(0) if is_free else price,
                fix,
                parts,
            )
        )
        is_bad = any(part.lot == BAD_LOT for part in parts)
        return max(pair.truth, BAD_RISK if is_bad else 0)

    def _part(self, used: tuple[str, int], fix: FixFacts, came: int) -> PartTold:
        number, quantity = used
        facts = PARTS[number]
        if number == BAD_PART and BAD_UNTIL <= came < BAD_FROM:
            lot = BAD_LOT
        else:
            lot = f"{facts.number[0]}{facts.supplier}-{(DAYS - came) // 75 + 1:02d}07"
        drift = 1 + Decimal((came // 75 * 7) % 13 - 6) / 100
        return PartTold(number, quantity, round(facts.cost * drift, 2), lot)

    def _comes_back(
        self,
        done: list[Visit],
        visit: Visit,
        fault: FaultFacts,
        pair: Pair,
        risk: float,
    ) -> None:
        """With the same fault, sooner where the fix is a stopgap; or with another."""
        if self.pick.random() < risk:
            days = WATCHED + 1
            while days > WATCHED:
                days = 2 + int(self.pick.expovariate(1 / 30))
            came = visit.left - days
            self._visit(done, visit.thing, fault, came, back_from=visit, redo_of=pair)
        elif self.pick.random() < 0.06:
            came = visit.left - self.pick.randrange(5, 170)
            other = self._fault(visit.thing.kind)
            if came > 1 and other is not fault:
                self._visit(done, visit.thing, other, came, back_from=visit)
                last = done[-1]
                if last.back_from is visit:
                    last.return_is = self._what_else(last)

    def _what_else(self, visit: Visit) -> str:
        if visit.done[0].outcome == states.NO_FAULT_FOUND:
            return states.NO_FAULT_FOUND
        return self.pick.choice(
            (states.NEW_FAULT, states.NEW_FAULT, states.HANDLING_DAMAGE)
        )


def _rows(visits: Sequence[Visit], *, today: date) -> list[Row]:
    """The visits by day, with the numbers the shop gave them."""
    in_order = sorted(visits, key=lambda visit: -visit.came)
    given: Counter[int] = Counter()
    number_of = {}
    for visit in in_order:
        year = (today - timedelta(days=visit.came)).year
        given[year] += 1
        number_of[visit] = f"{year % 100:02d}-{given[year]:05d}"
    rows: list[Row] = []
    for visit in in_order:
        thing, owner = visit.thing, visit.thing.owner
        back = number_of.get(visit.back_from) if visit.back_from else None
        for done in visit.done:
            rows.append(
                Row(
                    line=len(rows) + 2,
                    job=number_of[visit],
                    booked_in=today - timedelta(days=visit.came),
                    handed_back=today - timedelta(days=visit.left),
                    customer=owner.name,
                    email=owner.email,
                    phone=owner.phone,
                    kind=thing.kind,
                    maker=thing.maker,
                    model=thing.model,
                    serial=thing.serial,
                    complaint=visit.complaint,
                    fault=done.fault.code if done.fault else "",
                    fault_name=done.fault.name if done.fault else "",
                    fix=done.fix.code if done.fix else "",
                    fix_name=done.fix.name if done.fix else "",
                    declared=done.fix.declared if done.fix else "",
                    outcome=done.outcome,
                    minutes=done.minutes,
                    charged=done.charged,
                    parts_cost=done.parts_cost if done.fault else None,
                    parts=done.parts,
                    returned_from=back or "",
                    return_is=visit.return_is if back else "",
                )
            )
    return rows
