"""Eighteen months of an invented shop, as rows of a history file.

All chance comes from one seeded source and all days count back from the day of filling,
so the same seed gives the same shop on a later day.
"""

import math
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from repairs.history.cells import ImportedPart, total_cost
from repairs.history.rows import Row
from repairs.jobs import states
from shopdesk.demo.facts import (
    FAULTS,
    FIXES,
    KINDS,
    PARTS,
    FaultFacts,
    FixFacts,
    PairFacts,
    words,
)

DAYS = 548
VISITS = 470
CUSTOMERS = 320
HOURLY_RATE = Decimal(68)
MARKUP = Decimal("1.6")
DIAGNOSIS_FEE = Decimal(25)
COMEBACK_DAYS = 90

BAD_PART = "JCK-5521"
BAD_LOT = "K7-0413"
BAD_FROM, BAD_UNTIL = 310, 200
BAD_RISK = 0.45
"""The delivery of charging sockets that fails; days before the day of filling."""

SUPPLIERS = words("supplier")


@dataclass(frozen=True)
class Owner:
    name: str
    email: str
    phone: str


@dataclass(eq=False)
class OwnedDevice:
    kind: str
    maker: str
    model: str
    serial: str
    owner: Owner
    last_left: int = DAYS * 2
    """Days before the day of filling on which it last left the shop."""


@dataclass(frozen=True)
class Work:
    """What was done for one fault, or that none was found."""

    fault: FaultFacts | None
    outcome: str
    minutes: int
    charged: Decimal
    fix: FixFacts | None = None
    parts: tuple[ImportedPart, ...] = ()


@dataclass(eq=False)
class DemoVisit:
    """One job; `came` and `left` are days before the day of filling."""

    device: OwnedDevice
    came: int
    left: int
    complaint: str
    works: list[Work] = field(default_factory=list)
    returned_from: "DemoVisit | None" = None
    return_is: str = ""


def past(*, today: date, seed: int) -> list[Row]:
    """Return the rows of all jobs handed over before `today`."""
    return _rows(_Inventor(random.Random(seed)).visits(), today=today)


def _owners(pick: random.Random) -> list[Owner]:
    """Return invented people: all have a phone, three in four an email address."""
    family_names = words("family name")
    names = [
        f"{given} {family}" for given in words("given name") for family in family_names
    ]
    owners = []
    for n, name in enumerate(pick.sample(names, CUSTOMERS)):
        domain = pick.choice(("example.org", "example.net", "example.com"))
        local = name.lower().replace(" ", ".").replace("-", "")
        phone = f"+441632960{n:03d}" if n % 2 else f"+447700900{n:03d}"
        email = "" if pick.random() < 0.25 else f"{local}@{domain}"
        owners.append(Owner(name, email, phone))
    return owners


class _Inventor:
    """Invents visits, each with what was done and what came back from it."""

    def __init__(self, pick: random.Random) -> None:
        self.pick = pick
        self.owners = _owners(pick)
        self.devices: list[OwnedDevice] = []
        self.done: list[DemoVisit] = []

    def visits(self) -> list[DemoVisit]:
        """Return every visit, in no order."""
        days = sorted(
            (self.pick.randrange(4, DAYS) for _ in range(VISITS)), reverse=True
        )
        for came in days:
            fault = self._fault()
            device = self._device(self.pick.choice(fault.kinds), came)
            self._visit(device, fault, came)
        return self.done

    def _fault(self, kind: str = "") -> FaultFacts:
        faults = [f for f in FAULTS.values() if not kind or kind in f.kinds]
        return self.pick.choices(faults, [f.weight for f in faults])[0]

    def _device(self, kind: str, came: int) -> OwnedDevice:
        """Return a new device, or now and then one that was here long ago."""
        earlier = [
            d for d in self.devices if d.kind == kind and d.last_left - 200 > came
        ]
        if earlier and self.pick.random() < 0.12:
            return self.pick.choice(earlier)
        maker, model = self.pick.choice(KINDS[kind].models)
        owner, serial = self.pick.choice(self.owners), ""
        has_one = any(d.owner is owner and d.model == model for d in self.devices)
        if self.pick.random() > 0.08 or has_one:
            letters = "".join(self.pick.choices("ACDEFHJKMNPRTWXY", k=2))
            serial = f"{maker[:2].upper()}{letters}{self.pick.randrange(10**6):06d}"
        device = OwnedDevice(kind, maker, model, serial, owner)
        self.devices.append(device)
        return device

    def _visit(
        self,
        device: OwnedDevice,
        fault: FaultFacts,
        came: int,
        *,
        returned_from: DemoVisit | None = None,
        rework_of: PairFacts | None = None,
    ) -> None:
        left = came - min(int(self.pick.expovariate(1 / 4)) + 1, 21)
        if left < 1:
            return  # it would still be in the shop today
        complaint = self.pick.choice(fault.complaints)
        visit = DemoVisit(device, came, left, complaint, returned_from=returned_from)
        device.last_left = left
        if rework_of is not None:
            visit.return_is = "same_fault"
        self.done.append(visit)
        if rework_of is None and self._ends_without_repair(visit, fault):
            return
        pair = self._pair(fault, rework_of)
        risk = self._repair(visit, fault, pair, is_free=rework_of is not None)
        if rework_of is None and self.pick.random() < 0.07:
            other = self._fault(device.kind)
            if other is not fault:
                self._repair(visit, other, self._pair(other, None), is_free=False)
        self._return(visit, fault, pair, risk)

    def _ends_without_repair(self, visit: DemoVisit, fault: FaultFacts) -> bool:
        """Decide whether no fault is found, nothing can be done, or it is declined."""
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
        visit.works.append(Work(named, outcome, minutes, DIAGNOSIS_FEE))
        return True

    def _pair(self, fault: FaultFacts, rework_of: PairFacts | None) -> PairFacts:
        if rework_of is not None and self.pick.random() < 0.7:
            return min(fault.pairs, key=lambda pair: pair.risk)
        return self.pick.choices(fault.pairs, [p.share for p in fault.pairs])[0]

    def _repair(
        self, visit: DemoVisit, fault: FaultFacts, pair: PairFacts, *, is_free: bool
    ) -> float:
        """Add the repair; return the probability that it comes back in the period."""
        fix = FIXES[pair.fix]
        minutes = max(5, round(fix.minutes * math.exp(self.pick.gauss(0, 0.25))))
        parts = tuple(_part(*part, visit.came) for part in fix.parts)
        price = Decimal(round(minutes * HOURLY_RATE / 60 * 2)) / 2
        price += round(total_cost(parts) * MARKUP, 2)
        charged = Decimal(0) if is_free else price
        visit.works.append(Work(fault, states.FIXED, minutes, charged, fix, parts))
        is_bad = any(part.lot == BAD_LOT for part in parts)
        return max(pair.risk, BAD_RISK if is_bad else 0)

    def _return(
        self, visit: DemoVisit, fault: FaultFacts, pair: PairFacts, risk: float
    ) -> None:
        """Bring the device back with the same fault, with another, or not at all."""
        if self.pick.random() < risk:
            days = COMEBACK_DAYS + 1
            while days > COMEBACK_DAYS:
                days = 2 + int(self.pick.expovariate(1 / 30))
            came = visit.left - days
            self._visit(visit.device, fault, came, returned_from=visit, rework_of=pair)
        elif self.pick.random() < 0.06:
            came = visit.left - self.pick.randrange(5, 170)
            other = self._fault(visit.device.kind)
            if came > 1 and other is not fault:
                self._visit(visit.device, other, came, returned_from=visit)
                last = self.done[-1]
                if last.returned_from is visit:
                    last.return_is = self._kind_of_return(last)

    def _kind_of_return(self, visit: DemoVisit) -> str:
        if visit.works[0].outcome == states.NO_FAULT_FOUND:
            return states.NO_FAULT_FOUND
        return self.pick.choice(
            (states.NEW_FAULT, states.NEW_FAULT, states.HANDLING_DAMAGE)
        )


def _part(number: str, quantity: int, came: int) -> ImportedPart:
    """Return the part from the delivery of that time, at its price."""
    if number == BAD_PART and BAD_UNTIL <= came < BAD_FROM:
        lot = BAD_LOT
    else:
        lot = f"{lot_series(number)}-{(DAYS - came) // 75 + 1:02d}07"
    drift = 1 + Decimal((came // 75 * 7) % 13 - 6) / 100
    return ImportedPart(number, quantity, round(PARTS[number].cost * drift, 2), lot)


def lot_series(number: str) -> str:
    """Return how the lots of a part begin: J0 for a J… of the first supplier."""
    return f"{number[0]}{SUPPLIERS.index(PARTS[number].supplier)}"


def _rows(visits: Sequence[DemoVisit], *, today: date) -> list[Row]:
    """Return the visits by day, with the numbers the shop gave them."""
    in_order = sorted(visits, key=lambda visit: -visit.came)
    given: Counter[int] = Counter()
    number_of = {}
    for visit in in_order:
        year = (today - timedelta(days=visit.came)).year
        given[year] += 1
        number_of[visit] = f"{year % 100:02d}-{given[year]:05d}"
    rows: list[Row] = []
    for visit in in_order:
        device, owner = visit.device, visit.device.owner
        earlier = visit.returned_from and number_of.get(visit.returned_from)
        for work in visit.works:
            fault, fix = work.fault, work.fix
            rows.append(
                Row(
                    line=len(rows) + 2,
                    job=number_of[visit],
                    booked_in=today - timedelta(days=visit.came),
                    handed_back=today - timedelta(days=visit.left),
                    customer=owner.name,
                    email=owner.email,
                    phone=owner.phone,
                    kind=device.kind,
                    maker=device.maker,
                    model=device.model,
                    serial=device.serial,
                    complaint=visit.complaint,
                    fault=fault.code if fault else "",
                    fault_name=fault.name if fault else "",
                    fix=fix.code if fix else "",
                    fix_name=fix.name if fix else "",
                    fix_type=fix.fix_type if fix else "",
                    outcome=work.outcome,
                    minutes=work.minutes,
                    charged=work.charged,
                    parts_cost=total_cost(work.parts) if fault else None,
                    parts=work.parts,
                    returned_from=earlier or "",
                    return_is=visit.return_is if earlier else "",
                )
            )
    return rows
