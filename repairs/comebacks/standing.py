"""What a fix is called: its type in the fault book beside its measured verdict.

Every screen and paper that says “lasting” or “stopgap” of a fix asks here.
"""

from dataclasses import dataclass
from datetime import date

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate import verdict
from repairs.comebacks.record import ComebackReport, comeback_report
from repairs.comebacks.scope import Scope
from repairs.faults.fix_types import LABELS, LASTING, STOPGAP
from repairs.faults.models import Fix
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class Standing:
    """A recorded type and the record of the pair; `row` is None without repairs."""

    recorded: str
    row: Row | None

    @property
    def mismatch(self) -> str:
        """How results contradict the recorded type; empty if they do not."""
        if self.row is None:
            return ""
        return verdict.mismatch(fix_type=self.recorded, verdict=self.row.verdict)

    @property
    def measured(self) -> str:
        """The type by its results; the recorded one where they do not contradict it."""
        types = {
            verdict.WORSE_THAN_RECORDED: STOPGAP,
            verdict.BETTER_THAN_RECORDED: LASTING,
        }
        return types.get(self.mismatch, self.recorded)

    @property
    def for_customer(self) -> str:
        """The type that a customer may be told: lasting only if nothing contradicts it.

        A recorded stopgap leaves the cause in place, however few come back, so it stays
        one until the owner changes its type.
        """
        return STOPGAP if STOPGAP in (self.recorded, self.measured) else LASTING

    @property
    def text(self) -> str:
        """The type in words for staff; both if recorded and measured differ."""
        if not self.mismatch or self.row is None:
            return LABELS[self.recorded]
        back, done = self.row.comebacks, self.row.repairs
        return (
            f"recorded as {LABELS[self.recorded]}, {self.mismatch}:"
            f" {back} of {done} came back"
        )


def report_of(on: date, *, shop: Shop) -> ComebackReport:
    """Return the report of all repairs by that day, cached until data change."""
    scope = Scope(as_of=on, within=shop.comeback_period_days)
    return comeback_report(scope, shop=shop)


def standing(
    report: ComebackReport, fault_id: int, fix: Fix, *, recorded: str = ""
) -> Standing:
    """Return what the fix is called; `recorded` is the type if not the fault book's."""
    row = report.row_of(fault_id, fix.pk)
    return Standing(recorded or fix.fix_type, row)
