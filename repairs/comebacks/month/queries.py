"""What the database knows of the month, handed to the reckoning as whole numbers."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from itertools import chain
from urllib.parse import urlencode

import numpy as np
from django.db.models import BigIntegerField, Q
from django.db.models.functions import Cast
from django.urls import reverse

from repairs.comebacks.counted.queries import (
    ALL,
    BATCH,
    DayNumber,
    fixed_by,
    same_fault_by,
)
from repairs.comebacks.month import changes
from repairs.comebacks.month.bars import bars
from repairs.comebacks.month.coming import coming
from repairs.comebacks.month.drawing import chart
from repairs.comebacks.month.groups import explained
from repairs.comebacks.month.laid_by import LaidBy, laid_by
from repairs.comebacks.month.money import Money, money
from repairs.comebacks.month.months import month_before, months
from repairs.comebacks.month.named import BOARD, DELIVERY, MODEL, Named, what_matters
from repairs.comebacks.month.report import Blamed, MonthReport, Told
from repairs.comebacks.month.seen import Known, Seen, seen
from repairs.comebacks.month.triangle import triangle
from repairs.comebacks.pairs import ComebackTable
from repairs.comebacks.queries import comeback_record, costs_of_visits
from repairs.comebacks.record import Record
from repairs.comebacks.redo import cost_of_redo
from repairs.comebacks.watch import NEVER
from repairs.customers.models import DeviceModel
from repairs.jobs import states
from repairs.jobs.models import PartUsed, Repair
from repairs.stock.models import Delivery
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
    now = _Day(record, within=within, only=some.only, among=some.now)
    then = _Day(before, within=within, only=some.only, among=some.then)
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
        bad=[
            Blamed(one, _address(one.page, one.which, asked | dict(one.asked)))
            for one in now.groups
            if one.is_bad
        ],
    )
    return {"month": report}


def groups_by(record: Record, *, within: int) -> list[Named]:
    """Deliveries, models and board revisions, what matters first."""
    return _Day(record, within=within).groups


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
        within: int,
        only: Q = ALL,
        among: ComebackTable | None = None,
    ) -> None:
        self.record = record
        self.as_of = record.as_of
        self.only = only
        self.known = Known.by(record.table, among=among)
        self.seen = _seen(record, within=within, only=only)
        self.months = months(self.seen, self.known)
        groups = (
            [] if among else [*self._deliveries(), *self._models(), *self._boards()]
        )
        self.groups = sorted(groups, key=what_matters)

    def _deliveries(self) -> list[Named]:
        used = PartUsed.objects.filter(
            delivery__in=named_deliveries().values("pk"),
            repair__in=fixed_by(self.as_of).order_by().values("pk"),
        )
        pairs = _columns(used.order_by().values_list("repair_id", "delivery_id"), 2)
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
        # A repair that took two parts of one delivery is one repair.
        repair, delivery = np.unique(pairs, axis=1)
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
        names = {
            pk: f"{maker} {model}".strip()
            for pk, maker, model in DeviceModel.objects.order_by().values_list(
                "pk", "maker", "model"
            )
        }
        row = np.arange(len(self.seen.repair))
        return [
            Named(kind=MODEL, key=(key,), name=names[key], **figures)
            for key, figures in self._judged(row, group.reshape(-1), keys.tolist())
        ]

    def _boards(self) -> list[Named]:
        rows = (
            fixed_by(self.as_of)
            .exclude(job__device__board_revision="")
            .order_by()
            .values_list(
                "pk",
                "job__device__model_id",
                "job__device__board_revision",
                "job__device__model__maker",
                "job__device__model__model",
            )
        )
        numbers: dict[tuple[int, str], int] = {}
        names, repair, group = [], [], []
        for pk, model, revision, maker, name in rows.iterator(chunk_size=BATCH):
            number = numbers.setdefault((model, revision), len(numbers))
            if number == len(names):
                names.append(f"{maker} {name}, {revision}".strip())
            repair.append(pk)
            group.append(number)
        row = np.searchsorted(self.seen.repair, np.array(repair, dtype=np.int64))
        judged = self._judged(row, np.array(group, dtype=np.int64), list(numbers))
        return [
            Named(kind=BOARD, key=key, name=name, **figures)
            for name, (key, figures) in zip(names, judged, strict=True)
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
        lists = zip(*(column.tolist() for column in columns.values()), strict=True)
        return [
            (key, dict(zip(columns, values, strict=True)))
            for key, values in zip(keys, lists, strict=True)
        ]


def named_deliveries():
    """Deliveries that are one thing: parts of a history file without one share a
    delivery of no lot and no supplier, which tells nothing.
    """
    return Delivery.objects.exclude(lot="", supplier=None).order_by()


def _seen(record: Record, *, within: int, only: Q = ALL) -> Seen:
    """The repairs of the table one by one, in the order of their ids."""
    rows = fixed_by(record.as_of, only=only).values_list(
        "id",
        "fault_id",
        "fix_id",
        "job__device__model_id",
        DayNumber("job__handed_back_on"),
        DayNumber("job__device__watch_ends_on"),
    )
    repair, fault, fix, model, handed_back, watch_ends = _columns(rows, 6)
    width = int(fix.max(initial=0)) + 1
    keys = np.array(
        [pair.fault_id * width + pair.fix_id for pair in record.pairs], dtype=np.int64
    )
    order = np.argsort(keys)
    pair = order[np.searchsorted(keys[order], fault * width + fix)]
    came_back = np.full(len(repair), NEVER, dtype=np.int64)
    returns = same_fault_by(record.as_of).filter(
        earlier__in=fixed_by(record.as_of, only=only).order_by().values("pk")
    )
    earlier, day = _columns(
        returns.order_by().values_list("earlier_id", DayNumber("job__booked_in_on")), 2
    )
    np.minimum.at(came_back, np.searchsorted(repair, earlier), day)
    return seen(
        as_of=record.as_of,
        within=within,
        repair=repair,
        pair=pair,
        model=model,
        handed_back=handed_back,
        watch_ends=watch_ends,
        came_back=came_back,
    )


def _columns(rows, count: int):
    """The columns of many rows of whole numbers, read a batch at a time."""
    numbers = np.fromiter(
        chain.from_iterable(rows.iterator(chunk_size=BATCH)), dtype=np.int64
    )
    return numbers.reshape(-1, count).T


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
    back = known.filter(
        job__handed_back_on__gte=first, job__handed_back_on__lte=day.as_of
    )
    visits = list(
        back.values_list("job_id", "earlier__fault_id", "earlier__fix_id").order_by()
    )
    costs = costs_of_visits([job for job, _, _ in visits], as_of=day.as_of)
    paid = [
        (fault, fix, cost_of_redo(costs.get(job, []), fault=fault) or Decimal(0))
        for job, fault, fix in visits
        if fix is not None
    ]
    is_new = day.seen.handed_back >= first.toordinal()
    still_here = known.exclude(job__handed_back_on__lte=day.as_of)
    return money(
        day.record,
        paid=paid,
        done=Counter(day.seen.pair[is_new].tolist()),
        still_here=still_here.count(),
    )


def comebacks_by(as_of: date, *, only: Q = ALL):
    """Returns taken for the same fault by that day, of the repairs that count."""
    back = same_fault_by(as_of).filter(
        earlier__outcome=states.FIXED, earlier__handed_back_on__lte=as_of
    )
    return back.filter(earlier__in=Repair.objects.filter(only)) if only else back


def _laid_by(day: _Day, *, places: int) -> list[LaidBy]:
    """What prices bore for comebacks of each month's repairs, and what these take."""
    on_record = fixed_by(day.as_of, only=day.only).filter(reserve__isnull=False)
    repair, reserve = _columns(
        on_record.values_list("pk", Cast("reserve", BigIntegerField())), 2
    )
    back = comebacks_by(day.as_of, only=day.only).filter(earlier__reserve__isnull=False)
    visits = list(back.values_list("earlier_id", "job_id", "earlier__fault_id"))
    costs = costs_of_visits(back.order_by().values("job_id"), as_of=day.as_of)
    return laid_by(
        day.seen,
        day.known,
        months=day.months.rows,
        repair=repair,
        reserve=reserve,
        comebacks=[
            (earlier, cost_of_redo(costs.get(job, []), fault=fault))
            for earlier, job, fault in visits
        ],
        redo_costs=list(day.record.table.rows["mean_redo_cost"]),
        places=places,
    )
