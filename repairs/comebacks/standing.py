"""What a fix is called: its type in the fault book beside its measured verdict.

Every screen and paper that says “lasting” or “stopgap” of a fix asks here.
"""

from dataclasses import dataclass
from datetime import date

from django.core.cache import cache

from repairs.comebacks.cache import cached, fingerprint
from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate import verdict
from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import Scope
from repairs.faults.fix_types import LABELS, LASTING, STOPGAP
from repairs.faults.models import Fix
from shopdesk.shop.models import Shop

RECENT, RECENT_SECONDS = "recent-verdicts", 600
LARGE = 50_000  # repairs; from here on one more changes little, and a day's rows stay

Verdicts = dict[tuple[int, int], Row]
"""The row of each fault and fix that has repairs."""


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


def verdicts_of(on: date, *, shop: Shop) -> Verdicts:
    """Return the rows of all repairs by that day, cached: one query if unchanged."""
    scope = Scope(as_of=on, within=shop.comeback_period_days)
    return cached(
        "verdicts",
        scope,
        lambda: {row.pair: row for row in comeback_report(scope, shop=shop).rows},
        fingerprint=fingerprint(shop),
        may_be_old=lambda rows: sum(row.repairs for row in rows.values()) >= LARGE,
    )


def recent_verdicts(on: date, *, shop: Shop) -> Verdicts:
    """Return the same, at most ten minutes old: usually without a query.

    For the bench, where each press would make the fingerprint new.
    """
    asked = (on, shop.comeback_period_days, shop.max_comeback_risk)
    key = (*asked, shop.verdict_confidence)
    stored = cache.get(RECENT)
    if stored is None or stored[0] != key:
        stored = key, verdicts_of(on, shop=shop)
        cache.set(RECENT, stored, RECENT_SECONDS)
    verdicts: Verdicts = stored[1]
    return verdicts


def standing(
    verdicts: Verdicts, fault_id: int, fix: Fix, *, recorded: str = ""
) -> Standing:
    """Return what the fix is called; `recorded` is the type if not the fault book's."""
    return Standing(recorded or fix.fix_type, verdicts.get((fault_id, fix.pk)))
