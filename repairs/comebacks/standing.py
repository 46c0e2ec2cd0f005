"""What a fix is called: its type in the fault book beside its measured verdict.

Every screen and paper that says “lasting” or “stopgap” of a fix asks here.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.core.cache import cache

from repairs.comebacks.advice import better_fixes
from repairs.comebacks.cache import cached, fingerprint
from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate import verdict
from repairs.comebacks.record import ComebackReport, comeback_report
from repairs.comebacks.scope import Scope
from repairs.faults.fix_types import LABELS, LASTING, STOPGAP
from repairs.faults.models import Fix
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop

RECENT, RECENT_SECONDS = "recent-verdicts", 600
LARGE = 50_000  # repairs; from here on one more changes little, and a day's rows stay

Pair = tuple[int, int]
"""The ids of a fault and a fix."""


@dataclass(frozen=True)
class Verdicts:
    """What is measured of all fixes, by a day."""

    rows: dict[Pair, Row]
    """Of each fault and fix that has repairs."""
    better: dict[Pair, list[Row]]
    """The fixes of the same fault that are clearly better, the lowest risk first."""
    reliable: dict[int, list[Row]]
    """The reliable fixes of each fault, the lowest risk first."""


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
    def is_measured(self) -> bool:
        """Whether there are enough repairs for a verdict."""
        return self.row is not None and not self.row.has_too_few_repairs

    @property
    def counts(self) -> str:
        """How many came back; empty without repairs."""
        row = self.row
        return f"{row.comebacks} of {row.repairs} came back" if row else ""

    @property
    def text(self) -> str:
        """The type in words for staff; both if recorded and measured differ."""
        if not self.mismatch:
            return LABELS[self.recorded]
        return f"recorded as {LABELS[self.recorded]}, {self.mismatch}: {self.counts}"


def verdicts_of(on: date, *, shop: Shop) -> Verdicts:
    """Return the rows of all repairs by that day, cached: one query if unchanged."""
    scope = Scope(as_of=on, within=shop.comeback_period_days)
    return cached(
        "verdicts",
        scope,
        lambda: _verdicts(comeback_report(scope, shop=shop)),
        fingerprint=fingerprint(shop),
        may_be_old=lambda found: (
            sum(row.repairs for row in found.rows.values()) >= LARGE
        ),
    )


def _verdicts(report: ComebackReport) -> Verdicts:
    reliable = defaultdict(list)
    for row in sorted(report.rows, key=lambda row: row.risk):
        if row.verdict == verdict.RELIABLE:
            reliable[row.fault_id].append(row)
    return Verdicts(
        rows={row.pair: row for row in report.rows},
        better=better_fixes(report.rows, rates=report.table.rates),
        reliable=dict(reliable),
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
    return Standing(recorded or fix.fix_type, verdicts.rows.get((fault_id, fix.pk)))


def better_fix(
    verdicts: Verdicts, fault_id: int, chosen: Fix, *, among: Iterable[Fix]
) -> Fix | None:
    """Return the fix of `among` to be done instead of the chosen one; None if none.

    It is one that is clearly better, or, where the chosen one has not enough repairs
    for a verdict, a reliable one.
    """
    if standing(verdicts, fault_id, chosen).is_measured:
        rows = verdicts.better.get((fault_id, chosen.pk), [])
    else:
        rows = verdicts.reliable.get(fault_id, [])
    fixes = {fix.pk: fix for fix in among if fix != chosen}
    return next((fixes[row.fix_id] for row in rows if row.fix_id in fixes), None)


def add_standings(visits: Iterable[Job], verdicts: Verdicts) -> None:
    """Give each repair that has a fix its `standing`, with the type recorded of it."""
    for job in visits:
        for repair in job.repairs.all():
            if repair.fix:
                recorded = repair.fix_type
                repair.standing = standing(
                    verdicts, repair.fault_id, repair.fix, recorded=recorded
                )
