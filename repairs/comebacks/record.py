"""The comeback table with what it is about: of the whole shop, and of one fault."""

import math
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from repairs.comebacks.compare import LogRank, chances_to_beat_best_other, log_rank
from repairs.comebacks.honesty import said_with
from repairs.comebacks.pairs import ComebackTable
from repairs.comebacks.rows import Pair, Row, rows_by_what_matters, share


@dataclass(frozen=True)
class Record:
    """The comeback table as it was known on a day, and which pair each row is."""

    table: ComebackTable
    as_of: date
    pairs: list[Pair]
    """The fault and fix of each row, in the table's own order."""

    @cached_property
    def rows(self) -> list[Row]:
        """What comes back first, and the dearest of it foremost."""
        return rows_by_what_matters(self.table, self.pairs)

    @property
    def notes(self) -> list[str]:
        return said_with(self.table, as_of=self.as_of)

    @property
    def flagged(self) -> list[Row]:
        """The rows where the bench's own word is gainsaid."""
        return [row for row in self.rows if row.flag]

    @property
    def repairs(self) -> int:
        return int(self.table.rows["repairs"].sum())

    @property
    def returned(self) -> int:
        return int(self.table.rows["returned"].sum())

    @property
    def shop_risk_said(self) -> str:
        """The chance that any repair of this shop comes back, where one ever did."""
        risk = -math.expm1(-self.table.hazard)
        return share(risk) if self.returned else "not known yet"

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
    def log_rank(self) -> LogRank | None:
        """The plain test of the two fixes, where just two were done."""
        if len(self.rows) != 2:
            return None
        return log_rank(self._record.table.counts.of(self._numbers))

    @property
    def p_said(self) -> str:
        if self.log_rank is None:
            return ""
        p = self.log_rank.p_value
        return "below 0.001" if p < 0.001 else f"{p:.3f}"
