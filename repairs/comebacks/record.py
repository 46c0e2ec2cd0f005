"""The comeback table with what it is about: of the whole shop, and of one fault."""

import math
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from repairs.comebacks.advice import Advice, advised
from repairs.comebacks.compare import (
    chances_to_beat_best_other,
    each_against_each,
)
from repairs.comebacks.curve import Curves, curves
from repairs.comebacks.honesty import said_with
from repairs.comebacks.pairs import ComebackTable
from repairs.comebacks.prior import NO_RETURNS
from repairs.comebacks.rows import Pair, Row, rows_by_what_matters, share
from repairs.comebacks.watch import Counts

MOST_COMPARED = 6  # fixes of one fault; of more the most often done


@dataclass(frozen=True)
class Compared:
    """Two fixes of one fault: which holds better, and the plain test beside it."""

    first: Row
    second: Row
    chance_said: str
    p_said: str


@dataclass(frozen=True)
class Record:
    """The comeback table as it was known on a day, and which pair each row is."""

    table: ComebackTable
    as_of: date
    pairs: list[Pair]
    """The fault and fix of each row, in the table's own order."""
    only: str = ""
    """Which repairs alone are counted, in words; empty where all are."""
    said_first: tuple[str, ...] = ()
    """What must be said of a table that counts only some."""
    honest_of_all: tuple[str, ...] = ()
    """What the figures of all can't know, since those of some rest on them."""

    @cached_property
    def rows(self) -> list[Row]:
        """What comes back first, and the dearest of it foremost."""
        return rows_by_what_matters(self.table, self.pairs)

    @property
    def notes(self) -> list[str]:
        """All that must be said with the table."""
        return [*self.said_first, *self.honest]

    @property
    def honest(self) -> list[str]:
        """What the figures can't know."""
        return list(self.honest_of_all) or said_with(self.table, as_of=self.as_of)

    @property
    def flagged(self) -> list[Row]:
        """The rows where the bench's own word is gainsaid."""
        return [row for row in self.rows if row.flag]

    @cached_property
    def advice(self) -> list[Advice]:
        """What to change, by all that is known so far."""
        number = {pair[:2]: n for n, pair in enumerate(self.pairs)}
        return advised(
            self.rows,
            numbers=[number[row.pair[:2]] for row in self.rows],
            known=self.table.posterior,
            verdict_confidence=self.table.verdict_confidence,
        )

    @property
    def too_few(self) -> int:
        """Pairs of which nothing can be said yet."""
        return sum(row.is_open for row in self.rows)

    @property
    def repairs(self) -> int:
        return int(self.table.rows["repairs"].sum())

    @property
    def returned(self) -> int:
        return int(self.table.rows["returned"].sum())

    @property
    def shop_risk(self) -> float:
        """The chance that any repair of this shop comes back."""
        return -math.expm1(-self.table.hazard)

    @property
    def shop_risk_said(self) -> str:
        """The same in words, where one ever did."""
        is_known = self.table.prior.basis != NO_RETURNS
        return share(self.shop_risk) if is_known else "not known yet"

    @property
    def limit_said(self) -> str:
        return share(self.table.limit)

    def row_of(self, *, fault_id: int, fix_id: int) -> Row | None:
        wanted = (fault_id, fix_id)
        found = (r for r in self.rows if (r.pair.fault_id, r.pair.fix_id) == wanted)
        return next(found, None)


class FaultRecord:
    """What the shop knows of one fault: each of its fixes, the surest to hold first."""

    def __init__(self, record: Record, *, fault_id: int) -> None:
        self.rows = sorted(
            (row for row in record.rows if row.pair.fault_id == fault_id),
            key=lambda row: row.risk,
        )
        self._record = record
        self._numbers = [record.pairs.index(row.pair) for row in self.rows]

    @cached_property
    def chance_to_beat(self) -> dict[int, float]:
        """How probable it is that a fix holds better than the best other, by fix id."""
        chances = chances_to_beat_best_other(
            self._record.table.posterior.of(self._numbers),
            chances=np.array([row.risk for row in self.rows]),
        )
        ids = [row.pair.fix_id for row in self.rows]
        return dict(zip(ids, chances.tolist(), strict=True))

    @cached_property
    def counts(self) -> Counts:
        """Who was watched how long, a row a fix."""
        return self._record.table.counts.of(self._numbers)

    @cached_property
    def compared(self) -> list[Compared]:
        """Every two fixes, the more often done first; the log-rank test beside it."""
        most = sorted(range(len(self.rows)), key=lambda n: -self.rows[n].repairs)
        kept = sorted(most[:MOST_COMPARED])
        known = self._record.table.posterior.of([self._numbers[n] for n in kept])
        return [
            Compared(
                first=self.rows[kept[found.first]],
                second=self.rows[kept[found.second]],
                chance_said=share(found.chance),
                p_said=found.p_said,
            )
            for found in each_against_each(known, counts=self.counts.of(kept))
        ]

    def picture(self, *, about: int | None = None) -> Curves | None:
        """The return curves of the fixes; `about` is the fix whose limits are drawn."""
        if not self.rows:
            return None
        ids = [row.pair.fix_id for row in self.rows]
        return curves(
            self.rows,
            counts=self.counts,
            limit=self._record.table.limit,
            about=ids.index(about) if about in ids else None,
        )
