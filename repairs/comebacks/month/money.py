"""What comebacks cost in a month, and what that month's repairs should have laid by."""

from dataclasses import dataclass, field
from decimal import Decimal

from repairs.comebacks.record import Record
from repairs.comebacks.rows import Pair


@dataclass(frozen=True)
class MoneyRow:
    """A pair: the comebacks handed back this month, and the repairs."""

    pair: Pair
    called: str
    comebacks: int
    cost: Decimal
    repairs: int
    reserve: Decimal


@dataclass(frozen=True)
class Money:
    rows: list[MoneyRow] = field(default_factory=list)
    still_here: int = 0
    """Comebacks taken in and not handed back: what they cost is not known yet."""

    @property
    def dear(self) -> list[MoneyRow]:
        """Those whose comebacks cost something this month."""
        return [row for row in self.rows if row.comebacks]

    @property
    def due(self) -> list[MoneyRow]:
        """Those that were repaired this month, the most to lay by first."""
        due = [row for row in self.rows if row.repairs]
        return sorted(due, key=lambda row: (-row.reserve, row.called))

    @property
    def comebacks(self) -> int:
        return sum(row.comebacks for row in self.rows)

    @property
    def cost(self) -> Decimal:
        return sum((row.cost for row in self.rows), Decimal(0))

    @property
    def repairs(self) -> int:
        return sum(row.repairs for row in self.rows)

    @property
    def reserve(self) -> Decimal:
        return sum((row.reserve for row in self.rows), Decimal(0))

    @property
    def mean_cost(self) -> Decimal:
        return self.cost / self.comebacks if self.comebacks else Decimal(0)


def money(
    record: Record,
    *,
    paid: list[tuple[int, int, Decimal]],
    done: dict[int, int],
    still_here: int,
) -> Money:
    """`paid` holds fault, fix and cost of each comeback handed back in the month,
    `done` the number of repairs of each row of the table. The dearest stand first.
    """
    spent: dict[tuple[int, int], list[Decimal]] = {}
    for fault, fix, cost in paid:
        spent.setdefault((fault, fix), []).append(cost)
    rows = []
    columns = zip(
        record.pairs,
        record.table.rows["fault"],
        record.table.rows["fix"],
        record.table.rows["reserve"],
        strict=True,
    )
    for number, (pair, fault, fix, reserve) in enumerate(columns):
        costs = spent.get((pair.fault_id, pair.fix_id), [])
        repairs = done.get(number, 0)
        if costs or repairs:
            rows.append(
                MoneyRow(
                    pair=pair,
                    called=f"{fault} / {fix}",
                    comebacks=len(costs),
                    cost=sum(costs, Decimal(0)),
                    repairs=repairs,
                    reserve=reserve * repairs,
                )
            )
    rows.sort(key=lambda row: (-row.cost, -row.reserve, row.called))
    return Money(rows, still_here)
