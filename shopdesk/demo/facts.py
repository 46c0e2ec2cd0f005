"""The invented facts of the demo shop, read from the CSV files in `data/`.

Nobody in it is real. Phone numbers are from the ranges that Ofcom reserves for drama
(01632 960000–960999, 07700 900000–900999), email addresses from example domains.
"""

import csv
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class PartFacts:
    number: str
    name: str
    value: str
    bin: str
    cost: Decimal
    supplier: str


@dataclass(frozen=True)
class FixFacts:
    code: str
    name: str
    fix_type: str
    minutes: int
    hazard: str
    parts: tuple[tuple[str, int], ...]
    """Number and quantity of each part it usually takes."""


@dataclass(frozen=True)
class PairFacts:
    """A fix as it is done for one fault: how often, and how often it really fails.

    `risk` is what no real shop knows: the probability that the same fault is back
    within 90 days. Some fixes recorded as lasting are stopgaps in truth, and one
    stopgap lasts.
    """

    fix: str
    share: float
    risk: float


@dataclass(frozen=True)
class FaultFacts:
    code: str
    name: str
    area: str
    part: str
    mode: str
    hazard: str
    kinds: tuple[str, ...]
    weight: float
    symptom: str
    complaints: tuple[str, ...]
    pairs: tuple[PairFacts, ...]


@dataclass(frozen=True)
class KindFacts:
    accessories: tuple[str, ...]
    runs_on: str
    models: tuple[tuple[str, str], ...]
    """Maker and model of each."""

    @property
    def has_battery(self) -> bool:
        return self.runs_on == "battery"

    @property
    def has_mains_voltage(self) -> bool:
        return self.runs_on == "mains"


def read(name: str) -> list[dict[str, str]]:
    """Return the rows of one data file, each by its columns."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _list(text: str, separator: str = ";") -> tuple[str, ...]:
    return tuple(text.split(separator)) if text else ()


def _quantity(text: str) -> tuple[str, int]:
    number, _, quantity = text.partition("*")
    return number, int(quantity)


def _fix(row: dict[str, str]) -> FixFacts:
    parts = tuple(map(_quantity, _list(row["parts"])))
    return FixFacts(**row | {"minutes": int(row["minutes"]), "parts": parts})


def _fault(row: dict[str, str], pairs: list[PairFacts]) -> FaultFacts:
    return FaultFacts(
        **row
        | {
            "kinds": _list(row["kinds"]),
            "weight": float(row["weight"]),
            "complaints": _list(row["complaints"], "|"),
            "pairs": tuple(pairs),
        }
    )


PARTS = {
    row["number"]: PartFacts(**row | {"cost": Decimal(row["cost"])})
    for row in read("parts.csv")
}
FIXES = {row["code"]: _fix(row) for row in read("fixes.csv")}

_pairs: dict[str, list[PairFacts]] = defaultdict(list)
for _row in read("fault_fixes.csv"):
    _pairs[_row["fault"]].append(
        PairFacts(_row["fix"], float(_row["share"]), float(_row["risk"]))
    )
FAULTS = {row["code"]: _fault(row, _pairs[row["code"]]) for row in read("faults.csv")}

_models = read("models.csv")
KINDS = {
    row["kind"]: KindFacts(
        accessories=_list(row["accessories"]),
        runs_on=row["runs_on"],
        models=tuple(
            (model["maker"], model["model"])
            for model in _models
            if model["kind"] == row["kind"]
        ),
    )
    for row in read("kinds.csv")
}
BOARDS = {row["model"]: _list(row["boards"]) for row in _models if row["boards"]}
"""The board revisions of a model, where the shop records them."""

_words = read("words.csv")


def words(name: str) -> list[str]:
    """Return one of the lists in words.csv: names, streets, conditions …"""
    return [row["word"] for row in _words if row["list"] == name]
