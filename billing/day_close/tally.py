"""What was taken over some days of the till, by how it was paid."""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

RUNS = ("=", "+", "-", "@", "\t", "\r")
"""What a sheet takes for the beginning of a formula."""


@dataclass(frozen=True)
class Taken:
    """One way of paying: money on bills, deposits, money back (negative), rounding."""

    means: str
    label: str
    bills: Decimal
    deposits: Decimal
    back: Decimal
    rounding: Decimal
    count: int

    @property
    def total(self) -> Decimal:
        """What came in less what went out; rounding is no money."""
        return self.bills + self.deposits + self.back


def in_all(rows: Iterable[Taken]) -> Taken:
    """The sum of all ways of paying."""
    rows = list(rows)
    nought = Decimal(0)
    return Taken(
        means="",
        label="In all",
        bills=sum((row.bills for row in rows), nought),
        deposits=sum((row.deposits for row in rows), nought),
        back=sum((row.back for row in rows), nought),
        rounding=sum((row.rounding for row in rows), nought),
        count=sum(row.count for row in rows),
    )


def as_csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A file for a sheet. Words that it would run as a formula get a ' in front.

    Amounts stay numbers, the negative ones too.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(heads)
    for row in rows:
        writer.writerow([_in_sheet(cell) for cell in row])
    return out.getvalue()


def _in_sheet(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, Decimal):
        return f"{cell:f}"
    text = " ".join(str(cell).split("\n"))
    return f"'{text}" if text.lstrip().startswith(RUNS) or text[:1] in RUNS else text
