"""Eighteen months of an invented shop, as rows of a history file.

All random choices come from one seeded generator and days count back from the day of
filling, so the same seed gives the same shop on a later day.
"""

import math
import random
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace

from repairs.history.cells import ImportedPart, total_cost
from repairs.history.rows import ImportRow
from repairs.jobs import states
from shopdesk.demo.facts import FAULTS, FIXES, MODELS, PAIRS, PARTS, words
from shopdesk.demo.signs import Signs

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
"""The faulty delivery of charging sockets, in days before the day of filling."""

SUPPLIERS = words("supplier")


def past(*, today: date, seed: int) -> list[ImportRow]:
    """Return the rows of all jobs handed over before `today`."""
    visits = _Inventor(random.Random(seed)).visits()
    return _rows(visits, today=today, signs=Signs(random.Random(seed + 3)))


def _customers(pick):
    """Return invented people: all have a phone, three in four an email address."""
    family_names = words("family name")
    names = [
        f"{given} {family}" for given in words("given name") for family in family_names
    ]
    customers = []
    for n, name in enumerate(pick.sample(names, CUSTOMERS)):
        domain = pick.choice(("example.org", "example.net", "example.com"))
        local = name.lower().replace(" ", ".").replace("-", "")
        phone = f"+441632960{n:03d}" if n % 2 else f"+447700900{n:03d}"
        email = "" if pick.random() < 0.25 else f"{local}@{domain}"
        customers.append({"customer": name, "email": email, "phone": phone})
    return customers


class _Inventor:
    """Invents visits, each with its repair and the comeback that followed, if any.

    `came` and `left` are days before the day of filling; `rows` and `columns` hold
    columns of the history file.
    """

    def __init__(self, pick):
        self.pick = pick
        self.customers = _customers(pick)
        self.devices = []
        self.done = []

    def visits(self):
        """Return every visit, unordered."""
        days = sorted(
            (self.pick.randrange(4, DAYS) for _ in range(VISITS)), reverse=True
        )
        for came in days:
            fault = self._fault()
            device = self._device(self.pick.choice(fault.kinds), came)
            self._visit(device, fault, came)
        return self.done

    def _fault(self, kind=""):
        faults = [f for f in FAULTS.values() if not kind or kind in f.kinds]
        return self.pick.choices(faults, [f.weight for f in faults])[0]

    def _device(self, kind, came):
        """Return a new device, or sometimes one that was here long ago."""
        earlier = [
            d for d in self.devices if d.kind == kind and d.last_left - 200 > came
        ]
        if earlier and self.pick.random() < 0.12:
            return self.pick.choice(earlier)
        model = self.pick.choice([m for m in MODELS.values() if m.kind == kind])
        customer, serial = self.pick.choice(self.customers), ""
        has_one = any(d.customer is customer and d.model is model for d in self.devices)
        if self.pick.random() > 0.08 or has_one:
            letters = "".join(self.pick.choices("ACDEFHJKMNPRTWXY", k=2))
            number = self.pick.randrange(10**6)
            serial = f"{model.maker[:2].upper()}{letters}{number:06d}"
        device = SimpleNamespace(
            kind=kind,
            model=model,
            customer=customer,
            last_left=DAYS * 2,
            columns={
                "kind": kind,
                "maker": model.maker,
                "model": model.model,
                "serial": serial,
                **customer,
            },
        )
        self.devices.append(device)
        return device

    def _visit(self, device, fault, came, *, returned_from=None, rework_of=None):
        left = came - min(int(self.pick.expovariate(1 / 4)) + 1, 21)
        if left < 1:
            return  # it would still be in the shop today
        visit = SimpleNamespace(
            device=device,
            came=came,
            left=left,
            fault=fault,
            complaint=self.pick.choice(fault.complaints),
            rows=[],
            returned_from=returned_from,
            return_is="" if rework_of is None else states.SAME_FAULT,
        )
        device.last_left = left
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

    def _ends_without_repair(self, visit, fault):
        """Decide whether no fault is found, repair is impossible, or it is declined."""
        chance = self.pick.random()
        if chance >= 0.12:
            return False
        row = {"minutes": self.pick.randrange(15, 50), "charged": DIAGNOSIS_FEE}
        if chance < 0.04:
            row["outcome"] = states.NO_FAULT_FOUND
        else:
            row |= {"fault": fault.code, "fault_name": fault.name}
            row["parts_cost"] = Decimal(0)
            if chance < 0.07:
                row["outcome"] = states.NOT_REPAIRABLE
        visit.rows.append(row)
        return True

    def _pair(self, fault, rework_of):
        pairs = PAIRS[fault.code]
        if rework_of is not None and self.pick.random() < 0.7:
            return min(pairs, key=lambda pair: pair.risk)
        return self.pick.choices(pairs, [pair.share for pair in pairs])[0]

    def _repair(self, visit, fault, pair, *, is_free):
        """Add the repair; return the probability that it comes back in the period."""
        fix = FIXES[pair.fix]
        minutes = max(5, round(fix.minutes * math.exp(self.pick.gauss(0, 0.25))))
        parts = tuple(_part(*part, visit.came) for part in fix.parts)
        price = Decimal(round(minutes * HOURLY_RATE / 60 * 2)) / 2
        price += round(total_cost(parts) * MARKUP, 2)
        visit.rows.append(
            {
                "fault": fault.code,
                "fault_name": fault.name,
                "fix": fix.code,
                "fix_name": fix.name,
                "declared": fix.type,
                "outcome": states.FIXED,
                "minutes": minutes,
                "charged": Decimal(0) if is_free else price,
                "parts_cost": total_cost(parts),
                "parts": parts,
            }
        )
        is_bad = any(part.lot == BAD_LOT for part in parts)
        return max(pair.risk, BAD_RISK if is_bad else 0)

    def _return(self, visit, fault, pair, risk):
        """Bring the device back with the same fault, a new fault, or not at all."""
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

    def _kind_of_return(self, visit):
        if visit.rows[0].get("outcome") == states.NO_FAULT_FOUND:
            return states.NO_FAULT_FOUND
        return self.pick.choice(
            (states.NEW_FAULT, states.NEW_FAULT, states.HANDLING_DAMAGE)
        )


def _part(number, quantity, came):
    """Return the part from the delivery of that time, at its price."""
    if number == BAD_PART and BAD_UNTIL <= came < BAD_FROM:
        lot = BAD_LOT
    else:
        lot = f"{lot_prefix(number)}-{(DAYS - came) // 75 + 1:02d}07"
    drift = 1 + Decimal((came // 75 * 7) % 13 - 6) / 100
    return ImportedPart(number, quantity, round(PARTS[number].cost * drift, 2), lot)


def lot_prefix(number):
    """Return how lot numbers of a part begin: J0 for a J… of the first supplier."""
    return f"{number[0]}{SUPPLIERS.index(PARTS[number].supplier)}"


def _rows(visits, *, today, signs):
    """Return the visits by day, each with its job number."""
    given = Counter()
    rows = []
    for visit in sorted(visits, key=lambda visit: -visit.came):
        booked_in = today - timedelta(days=visit.came)
        given[booked_in.year] += 1
        visit.number = f"{booked_in:%y}-{given[booked_in.year]:05d}"
        earlier = visit.returned_from
        code, kind = visit.fault.code, visit.device.kind
        seen = {
            "complaint": signs.complaint(code, visit.complaint),
            "symptoms": signs.symptoms(code, kind),
            "checks": signs.checks(code, kind),
        }
        for row in visit.rows:
            rows.append(
                ImportRow(
                    line=len(rows) + 2,
                    job=visit.number,
                    booked_in=booked_in,
                    handed_back=today - timedelta(days=visit.left),
                    returned_from=earlier.number if earlier else "",
                    return_is=visit.return_is,
                    **seen,
                    **visit.device.columns,
                    **row,
                )
            )
    return rows
