"""What the database knows of the month, handed to the reckoning as whole numbers."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from urllib.parse import urlencode

import numpy as np
from django.db.models import BigIntegerField, Q
from django.db.models.functions import Cast
from django.urls import reverse

from repairs.comebacks.advice import Advice, Suspect, suspecting
from repairs.comebacks.counted.queries import ALL, columns, comebacks_by, fixed_by
from repairs.comebacks.month import changes
from repairs.comebacks.month.bars import bars
from repairs.comebacks.month.coming import coming
from repairs.comebacks.month.drawing import chart
from repairs.comebacks.month.each.queries import (
    Each,
    boards,
    deliveries_used,
    each_by,
    named_deliveries,
    seen_of,
)
from repairs.comebacks.month.groups import explained
from repairs.comebacks.month.laid_by import LaidBy, laid_by
from repairs.comebacks.month.money import Money, money
from repairs.comebacks.month.months import month_before, months
from repairs.comebacks.month.named import (
    BOARD,
    DELIVERY,
    MODEL,
    Named,
    knowing_each_other,
    what_matters,
)
from repairs.comebacks.month.report import Blamed, MonthReport, Told
from repairs.comebacks.month.seen import Known, Seen
from repairs.comebacks.month.triangle import triangle
from repairs.comebacks.pairs import ComebackTable
from repairs.comebacks.queries import comeback_record
from repairs.comebacks.record import Record
from repairs.customers.models import DeviceModel
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import money as said_money


@dataclass(frozen=True)
class Some:
    """Which repairs alone are counted, and the tables of all on both days; empty where
    all are. `asked` are the questions of an address that asks for the same.
    """

    only: Q = ALL
    now: ComebackTable | None = None
    then: ComebackTable | None = None
    asked: dict[str, str] = field(default_factory=dict)


EVERY = Some()


def month_context(
    *,
    as_of: date,
    within: int,
    shop: Shop,
    record: Record | None = None,
    before: Record | None = None,
    some: Some = EVERY,
) -> dict:
    """All that the month's page and paper show, as known on the day `as_of`.

    Give the comeback table of that day, and of the last day of the month before, where
    they are at hand. Of `some` of the repairs they must be given, counting these alone.
    """
    last = month_before(as_of)
    record = record or comeback_record(as_of=as_of, within=within, shop=shop)
    before = before or comeback_record(as_of=last, within=within, shop=shop)
    each = each_by(as_of, only=some.only)
    asked_of = {"within": within, "only": some.only}
    now = _Day(record, each=each, among=some.now, **asked_of)
    then = _Day(before, each=each.by(before.as_of), among=some.then, **asked_of)
    paid, paid_then = (_money(day) for day in (now, then))
    whole_month = month_before(as_of + timedelta(days=1)) == as_of
    news = [
        *changes.of_pairs(record, before=before),
        *changes.of_groups(now.groups, before=then.groups),
        *changes.of_months(now.months.rows, before=then.months.rows),
        *changes.of_money(
            paid,
            before=paid_then,
            is_whole=whole_month,
            said=lambda amount: said_money(amount, shop),
        ),
    ]
    asked = {"as_of": as_of.isoformat(), "within": str(within)}
    asked |= some.asked
    laid = _laid_by(now, places=shop.places)
    since = (as_of - last).days
    came = _came_since(now.seen, then.seen)
    report = MonthReport(
        as_of=as_of,
        before=last,
        within=within,
        questions=urlencode(asked),
        advice=_advice(now, asked),
        changes=[_told(change, asked) for change in news],
        of_months=now.months,
        chart=chart(now.months),
        triangle=triangle(now.seen, now.months.rows),
        coming=coming(now.seen, now.known),
        foretold=coming(then.seen, then.known, days=since),
        came=came,
        money=paid,
        money_before=paid_then,
        laid_by=laid,
        bars=bars(laid),
        bad=[Blamed(one, _evidence(one, asked)) for one in now.groups if one.is_bad],
    )
    return {"month": report}


def _advice(now: "_Day", asked: dict[str, str]) -> list[Advice]:
    """What to change, saying where a delivery is to be suspected before the fix."""
    pairs = now.record.pairs
    back = {pairs[pair][:2]: of for pair, of in now.seen.back_by_pair.items()}
    suspects = [
        Suspect(one.name, one.back, _evidence(one, asked))
        for one in now.groups
        if one.is_bad and one.kind == DELIVERY
    ]
    return suspecting(now.record.advice, back=back, suspects=suspects)


def _evidence(one: Named, asked: dict[str, str]) -> str:
    return _address(one.page, one.which, asked | dict(one.asked))


def groups_by(record: Record, *, within: int) -> list[Named]:
    """Deliveries, models and board revisions, what matters first."""
    return _Day(record, each=each_by(record.as_of), within=within).groups


def _told(change: changes.Change, asked: dict[str, str]) -> Told:
    end = "#money" if change.page == "month" else ""
    return Told(
        about=change.about,
        sentence=change.sentence,
        word=change.word,
        evidence=_address(change.page, change.which, asked | dict(change.asked)) + end,
    )


def _address(page: str, which: tuple[int, ...], asked: dict[str, str]) -> str:
    return f"{reverse(f'comebacks:{page}', args=which)}?{urlencode(asked)}"


class _Day:
    """One day's table with its repairs one by one; `among` is the table of all repairs
    where `only` some are counted. Deliveries and their like are judged by all alone.
    """

    def __init__(
        self,
        record: Record,
        *,
        each: Each,
        within: int,
        only: Q = ALL,
        among: ComebackTable | None = None,
    ) -> None:
        self.record = record
        self.as_of = record.as_of
        self.only = only
        self.known = Known.by(record.table, among=among)
        self.each = each
        self.seen = seen_of(record, each, within=within, only=only)
        self.months = months(self.seen, self.known)
        groups = (
            [] if among else [*self._deliveries(), *self._models(), *self._boards()]
        )
        self.groups = knowing_each_other(sorted(groups, key=what_matters))

    def _deliveries(self) -> list[Named]:
        names = {
            pk: (
                f"{lot or f'received {received}'} of {part}",
                part,
                supplier or "",
                received,
            )
            for pk, part, supplier, lot, received in named_deliveries().values_list(
                "pk", "part__number", "supplier__name", "lot", "received_on"
            )
        }
        repair, delivery = deliveries_used(self.as_of)
        keys, group = np.unique(delivery, return_inverse=True)
        row = np.searchsorted(self.seen.repair, repair)
        return [
            Named(
                kind=DELIVERY,
                key=(key,),
                name=names[key][0],
                part=names[key][1],
                supplier=names[key][2],
                received=names[key][3],
                **figures,
            )
            for key, figures in self._judged(row, group.reshape(-1), keys.tolist())
        ]

    def _models(self) -> list[Named]:
        keys, group = np.unique(self.seen.model, return_inverse=True)
        names = _names_of_models()
        row = np.arange(len(self.seen.repair))
        return [
            Named(kind=MODEL, key=(key,), name=names[key], **figures)
            for key, figures in self._judged(row, group.reshape(-1), keys.tolist())
        ]

    def _boards(self) -> list[Named]:
        keys, row, group = boards(self.each)
        names = _names_of_models() if keys else {}
        return [
            Named(kind=BOARD, key=key, name=f"{names[key[0]]}, {key[1]}", **figures)
            for key, figures in self._judged(row, group, keys)
        ]

    def _judged(self, row, group, keys: list):
        """Each key with the figures of its group."""
        if not keys:
            return []
        found = explained(self.seen, self.known, row=row, group=group, groups=len(keys))
        columns = {
            "repairs": found.repairs,
            "returned": found.returned,
            "expected": found.expected,
            "ratio": found.ratio,
            "low": found.low,
            "high": found.high,
            "over": found.over,
            "word": found.words,
        }
        back = row[self.seen.d[row] == 1], group[self.seen.d[row] == 1]
        columns |= self._of_the_bad(*back, found.is_bad)
        lists = zip(*(column.tolist() for column in columns.values()), strict=True)
        return [
            (key, dict(zip(columns, values, strict=True)))
            for key, values in zip(keys, lists, strict=True)
        ]

    def _of_the_bad(self, row, group, is_bad) -> dict:
        """Their comebacks, and on how many devices; `row` and `group` of comebacks."""
        back = np.full(len(is_bad), frozenset(), dtype=object)
        devices = np.zeros(len(is_bad), dtype=np.int64)
        for number in np.flatnonzero(is_bad):
            rows = np.unique(row[group == number])
            back[number] = frozenset(self.seen.repair[rows].tolist())
            devices[number] = len(np.unique(self.each.device[rows]))
        return {"back": back, "devices": devices}


def _names_of_models() -> dict[int, str]:
    rows = DeviceModel.objects.order_by().values_list("pk", "maker", "model")
    return {pk: f"{maker} {model}".strip() for pk, maker, model in rows}


def _came_since(now: Seen, then: Seen) -> int:
    """Of the repairs watched on the earlier day, those that came back after it."""
    watched = then.repair[then.is_watched]
    spot = np.searchsorted(now.repair, watched).clip(max=max(len(now.repair) - 1, 0))
    if not len(watched) or not len(now.repair):
        return 0
    return int(now.d[spot][now.repair[spot] == watched].sum())


def _money(day: _Day) -> Money:
    """Of the month in which the day lies, up to the day."""
    first = day.as_of.replace(day=1)
    known = comebacks_by(day.as_of, only=day.only)
    over = known.filter(
        rework_handed_over_on__gte=first, rework_handed_over_on__lte=day.as_of
    )
    paid = [
        (fault, fix, cost or Decimal(0))
        for fault, fix, cost in over.values_list("fault_id", "fix_id", "cost")
    ]
    is_new = day.seen.handed_back >= first.toordinal()
    still_here = known.exclude(rework_handed_over_on__lte=day.as_of)
    return money(
        day.record,
        paid=paid,
        done=Counter(day.seen.pair[is_new].tolist()),
        still_here=still_here.count(),
    )


def _laid_by(day: _Day, *, places: int) -> list[LaidBy]:
    """What prices bore for comebacks of each month's repairs, and what these take."""
    on_record = fixed_by(day.as_of, only=day.only).filter(reserve__isnull=False)
    repair, reserve = columns(
        on_record.values_list("pk", Cast("reserve", BigIntegerField()))
    )
    back = comebacks_by(day.as_of, only=day.only).filter(earlier__reserve__isnull=False)
    return laid_by(
        day.seen,
        day.known,
        months=day.months.rows,
        repair=repair,
        reserve=reserve,
        comebacks=[(one.earlier_id, one.cost_on(day.as_of)) for one in back],
        rework_costs=list(day.record.table.rows["mean_redo_cost"]),
        places=places,
    )
