"""The invented facts of the demo shop, read from the CSV files in `data/`.

Nobody in it is real. Phone numbers are from the ranges that Ofcom reserves for drama
(01632 960000–960999, 07700 900000–900999), email addresses from example domains.
"""

import csv
from collections import defaultdict
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

from repairs.faults.exchange import starter_book

DATA = Path(__file__).parent / "data"


def read(name):
    """Return the rows of one data file, each by its columns."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def table(name, *, key, **types):
    """Return the rows of one data file by their `key`, some columns as `types`."""
    rows = [SimpleNamespace(**row) for row in read(name)]
    for row in rows:
        for column, convert in types.items():
            setattr(row, column, convert(getattr(row, column)))
    return {getattr(row, key): row for row in rows}


def words(name):
    """Return one of the lists in words.csv: names, streets, conditions …"""
    return [row["word"] for row in read("words.csv") if row["list"] == name]


def _list(text):
    return text.split(";") if text else []


def _parts(text):
    """Return number and quantity of each part in `FET-30N*1;FUS-3A*1`."""
    pairs = (part.split("*") for part in _list(text))
    return [(number, int(quantity)) for number, quantity in pairs]


PARTS = table("parts.csv", key="number", cost=Decimal)
BOOK = starter_book()
"""The fault book of the demo is the one that every new shop can start with."""


def _from_book(facts, **types):
    """Add columns of the fault book to facts of the demo, found by their code."""
    entries = {row["code"]: row for row in BOOK if row["code"]}
    for code, own in facts.items():
        for name, convert in types.items():
            setattr(own, name, convert(entries[code][name]))
    return facts


FIXES = _from_book(
    table("fixes.csv", key="code", parts=_parts), name=str, type=str, minutes=int
)
FAULTS = _from_book(
    table(
        "faults.csv",
        key="code",
        kinds=_list,
        weight=float,
        complaints=lambda text: text.split("|"),
    ),
    name=str,
    area=str,
    mode=str,
)
PAIRS = defaultdict(list)
"""The fixes done for each fault: how often, and how often they really fail.

`risk` is what no real shop knows: the probability that the same fault comes back within
90 days. Some fixes recorded as lasting are really stopgaps, and one stopgap lasts.
"""
for _row in read("fault_fixes.csv"):
    _pair = SimpleNamespace(
        fix=_row["fix"], share=float(_row["share"]), risk=float(_row["risk"])
    )
    PAIRS[_row["fault"]].append(_pair)
KINDS = table("kinds.csv", key="kind", accessories=_list)
TEST_POINTS = defaultdict(list)
"""The test points of each kind: what is expected, and a good and a bad reading."""
for _row in read("test_points.csv"):
    TEST_POINTS[_row["kind"]].append(SimpleNamespace(**_row))
MODELS = table("models.csv", key="model", boards=_list)
"""`boards` are the board revisions of a model, if the shop records them."""
SYMPTOMS = defaultdict(dict)
"""The symptoms of each fault, and the chance that the bench sees each."""
for _row in read("fault_symptoms.csv"):
    SYMPTOMS[_row["fault"]][_row["symptom"]] = float(_row["chance"])
CHECKS = defaultdict(lambda: defaultdict(dict))
"""The bench checks that are made for each fault, and the chance of each result."""
for _row in read("fault_checks.csv"):
    CHECKS[_row["fault"]][_row["check"]][_row["result"]] = float(_row["chance"])
