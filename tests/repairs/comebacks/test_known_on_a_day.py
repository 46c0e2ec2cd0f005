"""What the database hands to the reckoning, as it was known on a day."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest

from repairs.bench import actions as bench
from repairs.comebacks.counted.queries import latest_day
from repairs.comebacks.queries import comeback_record, fixes_beside, repairs_behind
from repairs.comebacks.record import FaultRecord
from repairs.customers.models import Device
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import NotYet, Repair
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Kind
from tests import make

pytestmark = pytest.mark.django_db

ON = date(2026, 1, 10)
LATER = date(2026, 6, 1)


def days(n):
    return timedelta(days=n)


def row(as_of=LATER, within=90):
    """The first row of the table as known on `as_of`."""
    record = comeback_record(as_of=as_of, within=within, shop=Shop.current())
    return record.rows[0] if record.rows else None


@pytest.fixture
def pair():
    fault = make.fault()
    return fault, make.fix(fault)


def test_an_empty_shop_has_an_empty_record():
    assert row() is None


def test_a_comeback_counts_from_the_day_its_device_was_booked_in(pair):
    make.past_repair(*pair, on=ON, back_on=ON + days(20))
    assert row(as_of=ON + days(19)).returned == 0
    assert row(as_of=ON + days(20)).returned == 1


def test_a_comeback_after_the_horizon_does_not_count(pair):
    make.past_repair(*pair, on=ON, back_on=ON + days(91))
    assert (row().returned, row().judged) == (0, 1)
    assert row(within=91).returned == 1


def test_a_repair_not_handed_back_by_the_day_is_not_counted(pair):
    make.past_repair(*pair, on=ON)
    assert row(as_of=ON - days(1)) is None
    assert row(as_of=ON).repairs == 1


def test_what_was_not_fixed_is_no_repair_to_judge(pair):
    make.past_repair(*pair, on=ON, outcome=states.NO_FAULT_FOUND)
    assert row() is None


@pytest.mark.parametrize(
    "what",
    [
        states.NEW_FAULT,
        states.HANDLING_DAMAGE,
        states.NO_FAULT_FOUND,
        states.UNDECIDED,
    ],
)
def test_a_return_for_anything_else_is_no_comeback_and_ends_no_watch(pair, what):
    repair = make.past_repair(*pair, on=ON)
    make.comeback(repair, on=ON + days(5), what=what)
    assert (row().returned, row().judged) == (0, 1)


def test_the_last_decision_holds_and_only_from_its_own_day(pair):
    repair = make.past_repair(*pair, on=ON, back_on=ON + days(10))
    first = repair.later_assessments.get()
    make.decision(first.job, repair, what=states.NEW_FAULT, on=ON + days(30))
    assert row(as_of=ON + days(29)).returned == 1
    assert row(as_of=ON + days(30)).returned == 0


def test_a_decision_made_late_was_not_known_before(pair):
    repair = make.past_repair(*pair, on=ON)
    again = make.job(repair.job.device, on=ON + days(10))
    make.decision(again, repair, what=states.SAME_FAULT, on=ON + days(40))
    assert row(as_of=ON + days(39)).returned == 0
    late = row(as_of=ON + days(40))
    assert late.returned == 1


def test_of_two_comebacks_of_one_repair_the_first_is_counted(pair):
    repair = make.past_repair(*pair, on=ON, back_on=ON + days(30))
    make.comeback(repair, on=ON + days(12))
    [behind] = repairs_behind(*pair, as_of=LATER, within=90)
    assert (behind.days, row().returned) == (12, 1)


def test_a_device_sold_on_is_no_longer_watched(pair):
    device = make.device(out_of_use_on=ON + days(15))
    make.past_repair(*pair, on=ON, of=device)
    [behind] = repairs_behind(*pair, as_of=LATER, within=90)
    assert (behind.days, behind.became, row().judged) == (15, "still watched", 0)


def test_a_device_sold_on_after_it_came_back_came_back_all_the_same(pair):
    device = make.device(out_of_use_on=ON + days(15))
    make.past_repair(*pair, on=ON, of=device, back_on=ON + days(10))
    late = make.device(out_of_use_on=ON + days(15))
    make.past_repair(*pair, on=ON, of=late, back_on=ON + days(20))
    assert (row().returned, row().judged) == (2, 2)
    assert row(as_of=ON + days(12)).returned == 1


def test_any_history_is_counted_as_repair_by_repair(pair):
    """The grouped way of the table against the plain one of the list behind a row."""
    rng = np.random.default_rng(6)
    faults = [pair[0], make.fault()]
    fixes = [make.fix(*faults) for _ in range(3)]
    for n in range(60):
        on = ON + days(int(rng.integers(0, 120)))
        ends = on + days(int(rng.integers(-5, 120))) if rng.random() < 0.3 else None
        repair = make.past_repair(
            faults[n % 2],
            fixes[int(rng.integers(3))],
            on=on,
            of=make.device(out_of_use_on=ends),
        )
        for _ in range(int(rng.integers(0, 3))):
            back = on + days(int(rng.integers(0, 100)))
            made = make.comeback(repair, on=back)
            if rng.random() < 0.3:
                make.decision(
                    made.job,
                    repair,
                    what=states.NEW_FAULT,
                    on=back + days(int(rng.integers(0, 60))),
                )
    for as_of in (ON + days(60), ON + days(100), LATER):
        for found in rows_of(as_of):
            behind = repairs_behind(
                Fault.objects.get(pk=found.pair.fault_id),
                Fix.objects.get(pk=found.pair.fix_id),
                as_of=as_of,
                within=90,
            )
            assert found.repairs == len(behind)
            assert found.returned == sum(b.is_back for b in behind)
            assert found.judged == sum(b.is_back or b.days == 90 for b in behind)


def test_the_latest_word_counts_where_as_many_said_lasting_as_stopgap(pair):
    make.past_repair(*pair, on=ON + days(5), declared="lasting")
    make.past_repair(*pair, on=ON, declared="stopgap")
    assert row().declared == "lasting"
    make.past_repair(*pair, on=ON + days(9), declared="stopgap")
    make.past_repair(*pair, on=ON + days(8), declared="lasting")
    assert row().declared == "stopgap"


@pytest.mark.parametrize("away", [20, 92, 200])
@pytest.mark.parametrize("most_named", [1, 0])
@pytest.mark.parametrize(
    ("lasting", "stopgap", "latest"),
    [(5, 0, "lasting"), (0, 5, "stopgap"), (5, 5, "stopgap")],
)
def test_the_latest_word_counts_whether_said_since_the_horizon_or_before_it(
    pair, monkeypatch, away, most_named, lasting, stopgap, latest
):
    monkeypatch.setattr("repairs.comebacks.counted.queries.MOST_NAMED", most_named)
    make.past_repair(*pair, on=ON + days(lasting), declared="lasting")
    make.past_repair(*pair, on=ON + days(stopgap), declared="stopgap")
    other = make.fault()
    make.past_repair(other, make.fix(other), on=ON + days(9), declared="lasting")
    as_of = ON + days(away)
    rows = comeback_record(as_of=as_of, within=90, shop=Shop.current()).rows
    said = {row.pair.fault_id: row.declared for row in rows}
    assert said == {pair[0].pk: latest, other.pk: "lasting"}


def test_the_repairs_behind_a_row_are_those_it_counts(pair):
    make.past_repair(*pair, on=ON)
    make.past_repair(*pair, on=ON + days(3), back_on=ON + days(20))
    make.past_repair(*pair, on=LATER - days(4))
    make.past_repair(pair[0], make.fix(pair[0]), on=ON)
    behind = repairs_behind(*pair, as_of=LATER, within=90)
    assert [b.became for b in behind] == ["comeback", "still watched", "held"]
    assert [b.days for b in behind] == [17, 4, 90]
    assert (len(behind), sum(b.is_back for b in behind)) == (3, 1)
    assert (row().repairs, row().returned, row().judged) == (3, 1, 2)


def test_the_cost_of_a_comeback_is_what_its_own_visits_cost_the_shop(pair):
    for amount in ("40.10", "60.20"):
        repair = make.past_repair(*pair, on=ON, back_on=ON + days(9), cost=Decimal(500))
        make.redone(repair, amount, on=ON + days(12))
    first = next(r for r in rows_of(LATER) if r.returned)
    assert first.mean_redo_cost == Decimal("50.15")
    exact = Decimal(repr(first.risk)) * Decimal("50.15")
    assert first.reserve == exact.quantize(Decimal("0.01"))


def rows_of(as_of):
    return comeback_record(as_of=as_of, within=90, shop=Shop.current()).rows


def test_a_visit_still_open_has_cost_nothing_yet(pair):
    repair = make.past_repair(*pair, on=ON, back_on=ON + days(9), cost=Decimal(35))
    make.redone(repair, "80", on=ON + days(12))
    assert rows_of(ON + days(11))[0].mean_redo_cost == Decimal("35.00")
    assert rows_of(ON + days(12))[0].mean_redo_cost == Decimal("80.00")


def test_a_past_day_shows_what_was_known_then_whatever_came_later(pair):
    make.past_repair(*pair, on=ON, back_on=ON + days(9))
    make.past_repair(*pair, on=ON + days(2))
    before = rows_of(ON + days(30))
    make.past_repair(*pair, on=ON + days(40))
    make.comeback(make.past_repair(*pair, on=ON + days(31)), on=ON + days(50))
    assert rows_of(ON + days(30)) == before


def test_what_is_expected_adds_up_to_what_came_back(pair):
    others = make.fault(), make.fault()
    for n in range(12):
        for fault in (pair[0], *others):
            back = ON + days(n + 8) if n % 4 == 0 else None
            make.past_repair(fault, pair[1], on=ON + days(n), back_on=back)
    rows = rows_of(LATER)
    assert sum(r.expected for r in rows) == pytest.approx(sum(r.returned for r in rows))
    assert sum(r.returned for r in rows) == 9


@pytest.mark.parametrize("pairs", [1, 30])
def test_the_record_asks_the_database_as_often_for_one_pair_as_for_many(
    pairs, django_assert_num_queries
):
    fault = make.fault()
    for n in range(pairs):
        make.past_repair(fault, make.fix(fault), on=ON, back_on=ON + days(n + 1))
    shop = Shop.current()
    with django_assert_num_queries(6):
        comeback_record(as_of=LATER, within=90, shop=shop)


def test_the_fixes_of_a_fault_stand_side_by_side_the_surest_first():
    fault = make.fault()
    good, bad, new = (make.fix(fault, code=c) for c in ("GOOD", "BAD", "NEW"))
    for n in range(12):
        make.past_repair(fault, good, on=ON + days(n))
        make.past_repair(fault, bad, on=ON + days(n), back_on=ON + days(n + 9))
    record = comeback_record(as_of=LATER, within=90, shop=Shop.current())
    beside = FaultRecord(record, fault_id=fault.pk)
    fixes = fixes_beside(fault, beside)
    assert [b.fix for b in fixes] == [good, bad, new]
    assert fixes[0].chance_to_beat > 0.99
    assert fixes[0].chance_to_beat + fixes[1].chance_to_beat == pytest.approx(1)
    assert (fixes[2].row, fixes[2].beats_said) == (None, "")
    [compared] = beside.compared
    assert (compared.first.fix, compared.p_said) == ("GOOD", "below 0.001")


def test_a_fix_done_alone_has_nothing_to_beat(pair):
    make.past_repair(*pair, on=ON)
    record = comeback_record(as_of=LATER, within=90, shop=Shop.current())
    beside = FaultRecord(record, fault_id=pair[0].pk)
    assert beside.compared == []
    assert [b.beats_said for b in fixes_beside(pair[0], beside)] == [""]


def test_the_latest_day_is_today_unless_the_records_go_further(pair):
    today = date(2026, 2, 1)
    assert latest_day(today) == today
    make.past_repair(*pair, on=LATER)
    assert latest_day(today) == LATER


# --- what a past day can't show -------------------------------------------------


AS_THEY_STAND = (
    "As they stand today are: names and codes, our limit and verdict_confidence,"
)


@pytest.mark.parametrize("page", ["/comebacks/", "/comebacks/month/"])
def test_what_a_past_day_shows_as_it_stands_today_is_said(owner, pair, page):
    make.past_repair(*pair, on=ON, back_on=ON + days(9))
    said = " ".join(owner.get(page, {"as_of": ON + days(30)}).content.decode().split())
    assert AS_THEY_STAND in said


def test_names_limit_and_watch_are_as_they_stand_today(pair):
    fault, fix = pair
    device = make.device()
    make.past_repair(fault, fix, on=ON, of=device)
    before = rows_of(ON + days(60))[0]
    assert Device.objects.filter(pk=device.pk).update(out_of_use_on=ON + days(20)) == 1
    Fault.objects.filter(pk=fault.pk).update(code="RENAMED")
    after = rows_of(ON + days(60))[0]
    assert (before.fault, after.fault) == (fault.code, "RENAMED")
    assert after.expected < before.expected or before.expected == 0
    [behind] = repairs_behind(fault, fix, as_of=ON + days(60), within=90)
    assert behind.days == 20
    make.shop(max_comeback_risk=Decimal("0.5"))
    assert rows_of(ON + days(60))[0].chance_over_limit < after.chance_over_limit


def test_what_a_repair_was_is_not_changed_after_its_job_is_handed_back(pair):
    """So no day needs to be kept for its outcome, what was declared, or its cost."""
    repair = make.past_repair(*pair, on=ON, cost=Decimal(40))
    boss, fix = make.user(Kind.OWNER), make.fix(pair[0])
    version = repair.job.version
    for refused in (
        lambda: bench.choose_fix(repair, fix=fix, version=version, by=boss),
        lambda: bench.give_up(
            repair, outcome=states.NOT_FIXED, why="x", version=version, by=boss
        ),
        lambda: bench.take_up_again(repair, by=boss),
        lambda: bench.drop_fault(repair, by=boss),
        lambda: bench.step(
            repair.job, "reopen", version=version, by=boss, why="it failed"
        ),
    ):
        with pytest.raises((NotYet, states.WrongStep)):
            refused()
    assert states.NEXT[states.HANDED_OVER] == frozenset()
    now = Repair.objects.get(pk=repair.pk)
    for name in ("fix_id", "outcome", "declared", "cost"):
        assert getattr(now, name) == getattr(repair, name)
