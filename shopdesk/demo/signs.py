"""What an invented bench sees of a fault: complaint, symptoms, results of checks.

None of it names the fault for certain: faults share symptoms, checks mislead, and some
customers say little or what fits another fault.
"""

import random

from repairs.history.cells import CheckAndResult
from shopdesk.demo.facts import CHECKS, FAULTS, SYMPTOMS, words

VAGUE = 0.2
MISTAKEN = 0.3
BY_MISTAKE = 0.12
"""Chance of one more symptom that another fault of this kind of device has."""
NO_SYMPTOM_NOTED = 0.08
NO_CHECK_NOTED = 0.35


class Signs:
    """Draws them from a generator of its own, so that the rest of the past stays."""

    def __init__(self, pick: random.Random) -> None:
        self.pick = pick
        self.vague = words("vague complaint")

    def complaint(self, code: str, said: str) -> str:
        """Return what the customer says instead of `said`, or just that."""
        chance = self.pick.random()
        if chance < VAGUE:
            return self.pick.choice(self.vague)
        if chance < VAGUE + MISTAKEN:
            return self.pick.choice(
                FAULTS[self.pick.choice(self._alike(code))].complaints
            )
        return said

    def symptoms(self, code: str, kind: str) -> tuple[str, ...]:
        if self.pick.random() < NO_SYMPTOM_NOTED:
            return ()
        chances = SYMPTOMS[code]
        seen = [name for name, chance in chances.items() if self.pick.random() < chance]
        if self.pick.random() < BY_MISTAKE:
            others = {name for other in self._of_kind(kind) for name in SYMPTOMS[other]}
            seen.append(self.pick.choice(sorted(others)))
        return tuple(dict.fromkeys(seen))

    def checks(self, code: str, kind: str) -> tuple[CheckAndResult, ...]:
        """Return results of checks that suit the fault, or one that looks alike."""
        if self.pick.random() < NO_CHECK_NOTED:
            return ()
        found = {}
        for _ in range(self.pick.choice((1, 1, 2))):
            suspected = code
            if self.pick.random() < 0.4:
                suspected = self.pick.choice(self._alike(code))
            if not CHECKS[suspected]:
                continue
            check = self.pick.choice(sorted(CHECKS[suspected]))
            chances = CHECKS[code].get(check) or CHECKS[suspected][check]
            found[check] = self.pick.choices(list(chances), list(chances.values()))[0]
        return tuple(CheckAndResult(*pair) for pair in found.items())

    @staticmethod
    def _of_kind(kind: str) -> list[str]:
        return [code for code, fault in FAULTS.items() if kind in fault.kinds]

    @staticmethod
    def _alike(code: str) -> list[str]:
        """Return the faults that share a symptom and a kind of device with this one."""
        own = FAULTS[code]
        return [
            other
            for other, fault in FAULTS.items()
            if set(fault.kinds) & set(own.kinds)
            and SYMPTOMS[other].keys() & SYMPTOMS[code]
        ]
