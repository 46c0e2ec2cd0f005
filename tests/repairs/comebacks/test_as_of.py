"""What the database hands over to the estimate, as of a date."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest

from repairs.bench import actions as bench
from repairs.comebacks.drilldown import outcomes
from repairs.comebacks.queries import (
    fixed_by,
    latest_day,
)
from repairs.comebacks.record import build_report
from repairs.comebacks.scope import Scope
from repairs.customers.models import Device
from repairs.faults.models import Fault, Fix
from repairs.jobs import states, workflow
from repairs.jobs.models import Repair
from shopdesk.errors import InvalidTransitionError
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db

ON = date(2026, 1, 10)
LATER = date(2026, 6, 1)


def days(n):
    return timedelta(days=n)


def report_of(as_of, within=90):
    return build_report(Scope(as_of=as_of, within=within), shop=Shop.current())


def outcomes_of(fault, fix, *, as_of, within):
    repairs = fixed_by(as_of).filter(fault=fault, fix=fix)
    return outcomes(repairs, as_of=as_of, within=within)


def row(as_of=LATER, within=90):
    """The first row of the table as of `as_of`."""
    record = report_of(as_of, within)
    return record.rows[0] if record.rows else None


@pytest.fixture
def pair():
    fault = make.fault()
    return fault, make.fix(fault)


def test_an_empty_shop_has_no_rows():
    assert row() is None


def test_a_comeback_counts_from_the_day_its_device_was_booked_in(pair):
    make.past_repair(*pair, on=ON, back_on=ON + days(20))
    assert row(as_of=ON + days(19)).comebacks == 0
    assert row(as_of=ON + days(20)).comebacks == 1


def test_a_comeback_after_the_period_does_not_count(pair):
    make.past_repair(*pair, on=ON, back_on=ON + days(91))
    assert (row().comebacks, row().followed_up) == (0, 1)
    assert row(within=91).comebacks == 1


def test_a_repair_not_handed_over_by_the_date_is_not_counted(pair):
    make.past_repair(*pair, on=ON)
    assert row(as_of=ON - days(1)) is None
    assert row(as_of=ON).repairs == 1


def test_only_fixed_repairs_count(pair):
    make.past_repair(*pair, on=ON, outcome=states.NO_FAULT_FOUND)
    assert row() is None


@pytest.mark.parametrize(
    "assessment",
    [
        states.NEW_FAULT,
        states.HANDLING_DAMAGE,
        states.NO_FAULT_FOUND,
        states.UNDECIDED,
    ],
)
def test_other_returns_are_no_comebacks_and_do_not_end_follow_up(pair, assessment):
    repair = make.past_repair(*pair, on=ON)
    make.comeback(repair, on=ON + days(5), assessment=assessment)
    assert (row().comebacks, row().followed_up) == (0, 1)


def test_the_last_assessment_counts_from_its_own_day(pair):
    repair = make.past_repair(*pair, on=ON, back_on=ON + days(10))
    first = repair.later_assessments.get()
    make.decision(first.job, repair, assessment=states.NEW_FAULT, on=ON + days(30))
    assert row(as_of=ON + days(29)).comebacks == 1
    assert row(as_of=ON + days(30)).comebacks == 0


def test_a_late_assessment_does_not_count_before_its_day(pair):
    repair = make.past_repair(*pair, on=ON)
    again = make.job(repair.job.device, on=ON + days(10))
    make.decision(again, repair, assessment=states.SAME_FAULT, on=ON + days(40))
    assert row(as_of=ON + days(39)).comebacks == 0
    late = row(as_of=ON + days(40))
    assert late.comebacks == 1


def test_of_two_comebacks_of_a_repair_the_first_counts(pair):
    repair = make.past_repair(*pair, on=ON, back_on=ON + days(30))
    make.comeback(repair, on=ON + days(12))
    [results] = outcomes_of(*pair, as_of=LATER, within=90)
    assert (results.days, row().comebacks) == (12, 1)


def test_follow_up_ends_when_a_device_goes_out_of_use(pair):
    device = make.device(out_of_use_on=ON + days(15))
    make.past_repair(*pair, on=ON, of=device)
    [results] = outcomes_of(*pair, as_of=LATER, within=90)
    assert (results.days, results.result, row().followed_up) == (
        15,
        "in follow-up",
        0,
    )


def test_a_comeback_counts_though_the_device_went_out_of_use_later(pair):
    device = make.device(out_of_use_on=ON + days(15))
    make.past_repair(*pair, on=ON, of=device, back_on=ON + days(10))
    late = make.device(out_of_use_on=ON + days(15))
    make.past_repair(*pair, on=ON, of=late, back_on=ON + days(20))
    assert (row().comebacks, row().followed_up) == (2, 2)
    assert row(as_of=ON + days(12)).comebacks == 1


def test_grouped_counts_equal_those_repair_by_repair(pair):
    """The grouped counts of the table equal the plain list of repairs behind a row."""
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
            comeback = make.comeback(repair, on=back)
            if rng.random() < 0.3:
                make.decision(
                    comeback.job,
                    repair,
                    assessment=states.NEW_FAULT,
                    on=back + days(int(rng.integers(0, 60))),
                )
    for as_of in (ON + days(60), ON + days(100), LATER):
        for table_row in rows_of(as_of):
            results = outcomes_of(
                Fault.objects.get(pk=table_row.fault_id),
                Fix.objects.get(pk=table_row.fix_id),
                as_of=as_of,
                within=90,
            )
            assert table_row.repairs == len(results)
            assert table_row.comebacks == sum(b.came_back for b in results)
            assert table_row.followed_up == sum(
                b.came_back or b.days == 90 for b in results
            )


def test_a_tie_of_recorded_types_goes_to_the_latest(pair):
    make.past_repair(*pair, on=ON + days(5), fix_type="lasting")
    make.past_repair(*pair, on=ON, fix_type="stopgap")
    assert row().fix_type == "lasting"
    make.past_repair(*pair, on=ON + days(9), fix_type="stopgap")
    make.past_repair(*pair, on=ON + days(8), fix_type="lasting")
    assert row().fix_type == "stopgap"


@pytest.mark.parametrize("away", [20, 92, 200])
@pytest.mark.parametrize(
    ("lasting", "stopgap", "latest"),
    [(5, 0, "lasting"), (0, 5, "stopgap"), (5, 5, "stopgap")],
)
def test_a_tie_goes_to_the_latest_within_or_before_the_period(
    pair, away, lasting, stopgap, latest
):
    make.past_repair(*pair, on=ON + days(lasting), fix_type="lasting")
    make.past_repair(*pair, on=ON + days(stopgap), fix_type="stopgap")
    other = make.fault()
    make.past_repair(other, make.fix(other), on=ON + days(9), fix_type="lasting")
    as_of = ON + days(away)
    rows = report_of(as_of, 90).rows
    text = {row.fault_id: row.fix_type for row in rows}
    assert text == {pair[0].pk: latest, other.pk: "lasting"}


def test_the_repairs_behind_a_row_are_those_it_counts(pair):
    make.past_repair(*pair, on=ON)
    make.past_repair(*pair, on=ON + days(3), back_on=ON + days(20))
    make.past_repair(*pair, on=LATER - days(4))
    make.past_repair(pair[0], make.fix(pair[0]), on=ON)
    results = outcomes_of(*pair, as_of=LATER, within=90)
    assert [b.result for b in results] == ["comeback", "in follow-up", "no comeback"]
    assert [b.days for b in results] == [17, 4, 90]
    assert (len(results), sum(b.came_back for b in results)) == (3, 1)
    assert (row().repairs, row().comebacks, row().followed_up) == (3, 1, 2)


def test_the_rework_cost_is_the_mean_cost_of_the_comeback_jobs(pair):
    for amount in ("40.10", "60.20"):
        repair = make.past_repair(*pair, on=ON, back_on=ON + days(9), cost=Decimal(500))
        make.redone(repair, amount, on=ON + days(12))
    first = next(r for r in rows_of(LATER) if r.comebacks)
    assert first.mean_rework_cost == Decimal("50.15")
    exact = Decimal(repr(first.risk)) * Decimal("50.15")
    assert first.comeback_allowance == exact.quantize(Decimal("0.01"))


def rows_of(as_of):
    return report_of(as_of, 90).rows


def test_an_open_comeback_has_no_cost_yet(pair):
    repair = make.past_repair(*pair, on=ON, back_on=ON + days(9), cost=Decimal(35))
    make.redone(repair, "80", on=ON + days(12))
    assert rows_of(ON + days(11))[0].mean_rework_cost == Decimal("35.00")
    assert rows_of(ON + days(12))[0].mean_rework_cost == Decimal("80.00")


def test_later_events_do_not_change_a_past_date(pair):
    make.past_repair(*pair, on=ON, back_on=ON + days(9))
    make.past_repair(*pair, on=ON + days(2))
    before = rows_of(ON + days(30))
    make.past_repair(*pair, on=ON + days(40))
    make.comeback(make.past_repair(*pair, on=ON + days(31)), on=ON + days(50))
    assert rows_of(ON + days(30)) == before


def test_expected_comebacks_add_up_to_the_comebacks(pair):
    others = make.fault(), make.fault()
    for n in range(12):
        for fault in (pair[0], *others):
            back = ON + days(n + 8) if n % 4 == 0 else None
            make.past_repair(fault, pair[1], on=ON + days(n), back_on=back)
    rows = rows_of(LATER)
    assert sum(r.expected_comebacks for r in rows) == pytest.approx(
        sum(r.comebacks for r in rows)
    )
    assert sum(r.comebacks for r in rows) == 9


@pytest.mark.parametrize("pairs", [1, 30])
def test_a_report_needs_as_many_queries_for_one_pair_as_for_many(
    pairs, django_assert_num_queries
):
    fault = make.fault()
    for n in range(pairs):
        make.past_repair(fault, make.fix(fault), on=ON, back_on=ON + days(n + 1))
    shop = Shop.current()
    with django_assert_num_queries(6):
        build_report(Scope(as_of=LATER, within=90), shop=shop)


def test_the_latest_day_is_today_unless_the_records_go_further(pair):
    today = date(2026, 2, 1)
    assert latest_day(today) == today
    make.past_repair(*pair, on=LATER)
    assert latest_day(today) == LATER


# --- what a past day can't show -------------------------------------------------


AS_THEY_ARE_TODAY = "Names, codes, settings, device details and imported jobs are shown"


@pytest.mark.parametrize("page", ["/comebacks/", "/comebacks/month/"])
def test_the_page_says_what_is_shown_as_of_today(owner, pair, page):
    make.past_repair(*pair, on=ON, back_on=ON + days(9))
    text = " ".join(owner.get(page, {"as_of": ON + days(30)}).content.decode().split())
    assert AS_THEY_ARE_TODAY in text


def test_names_limit_and_device_details_are_those_of_today(pair):
    fault, fix = pair
    device = make.device()
    make.past_repair(fault, fix, on=ON, of=device)
    before = rows_of(ON + days(60))[0]
    assert Device.objects.filter(pk=device.pk).update(out_of_use_on=ON + days(20)) == 1
    Fault.objects.filter(pk=fault.pk).update(code="RENAMED")
    after = rows_of(ON + days(60))[0]
    assert (before.fault, after.fault) == (fault.code, "RENAMED")
    assert (
        after.expected_comebacks < before.expected_comebacks
        or before.expected_comebacks == 0
    )
    [results] = outcomes_of(fault, fix, as_of=ON + days(60), within=90)
    assert results.days == 20
    make.shop(max_comeback_risk=Decimal("0.5"))
    assert (
        rows_of(ON + days(60))[0].probability_above_limit
        < after.probability_above_limit
    )


def test_a_repair_cannot_change_after_handover(pair):
    """So its outcome, type and cost need no date of their own."""
    repair = make.past_repair(*pair, on=ON, cost=Decimal(40))
    boss, fix = make.user(Role.OWNER), make.fix(pair[0])
    version = repair.job.version
    facts = {"version": version, "stamp": make.stamp(by=boss)}
    for refused in (
        lambda: bench.select_fix(repair, fix=fix, **facts),
        lambda: bench.mark_not_repaired(
            repair, outcome=states.NOT_FIXED, why="x", **facts
        ),
        lambda: bench.resume_repair(repair, stamp=make.stamp()),
        lambda: bench.remove_fault(repair, stamp=make.stamp()),
        lambda: workflow.reopen(repair.job, why="it failed", stamp=make.stamp()),
    ):
        with pytest.raises(InvalidTransitionError):
            refused()
    assert workflow.ALLOWED_TRANSITIONS[states.HANDED_OVER] == frozenset()
    now = Repair.objects.get(pk=repair.pk)
    for name in ("fix_id", "outcome", "fix_type", "cost"):
        assert getattr(now, name) == getattr(repair, name)
