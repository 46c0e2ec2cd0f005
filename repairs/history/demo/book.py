"""The fault book of the demo shop, with what no real shop knows: the truth.

`truth` is the chance that this fix for this fault is back with the same fault within 90
days. Some fixes that the bench declares lasting are stopgaps in truth, and one declared
a stopgap holds.
"""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


@dataclass(frozen=True)
class FixFacts:
    code: str
    name: str
    declared: str
    minutes: int
    parts: tuple[tuple[str, int], ...] = ()
    hazard: str = ""


@dataclass(frozen=True)
class Pair:
    """A fix as it is done for one fault: how often, and what comes of it in truth."""

    fix: str
    share: float
    truth: float


@dataclass(frozen=True)
class FaultFacts:
    code: str
    name: str
    area: str
    part: str
    mode: str
    kinds: tuple[str, ...]
    weight: float
    symptom: str
    complaints: tuple[str, ...]
    pairs: tuple[Pair, ...]
    hazard: str = ""


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((HERE / name).read_text(encoding="utf-8"))


FIXES = {
    code: FixFacts(code, **facts | {"parts": tuple(facts.get("parts", {}).items())})
    for code, facts in _read("fixes.toml").items()
}

FAULTS = {
    code: FaultFacts(
        code,
        name=facts["name"],
        area=facts["area"],
        part=facts["part"],
        mode=facts["mode"],
        kinds=tuple(facts["kinds"]),
        weight=facts["weight"],
        symptom=facts["symptom"],
        complaints=tuple(facts["complaints"]),
        pairs=tuple(Pair(*way) for way in facts["ways"]),
        hazard=facts.get("hazard", ""),
    )
    for code, facts in _read("faults.toml").items()
}
