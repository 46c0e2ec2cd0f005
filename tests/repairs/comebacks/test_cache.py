"""A report is kept while nothing changes; every change shows immediately."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.cache import cache
from django.db import connection, transaction

from repairs.comebacks import cache as report_cache
from repairs.comebacks import record
from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import Scope
from repairs.customers.models import Device
from repairs.faults.models import Fault, Fix
from repairs.guards import COUNTED
from repairs.jobs import states, workflow
from repairs.jobs.models import ChangeMark, Job, PartUsed, Repair, change_marks
from repairs.stock.models import Supplier
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db
ON = date(2026, 1, 10)
LATER = date(2026, 6, 1)


def days(n):
    return timedelta(days=n)


@pytest.fixture
def calculations(monkeypatch):
    """A list with an entry for each run of the estimator."""
    ran = []
    estimator = record.comeback_table

    def counting(*args, **kwargs):
        ran.append(1)
        return estimator(*args, **kwargs)

    monkeypatch.setattr(record, "comeback_table", counting)
    return ran


@pytest.fixture
def repairs():
    fault = make.fault()
    fix = make.fix(fault)
    made = [
        make.past_repair(
            fault,
            fix,
            on=ON + days(n),
            back_on=ON + days(n + 9) if n < 3 else None,
            cost=Decimal(30),
        )
        for n in range(8)
    ]
    make.shop()
    return made


def first_row(**params):
    report = comeback_report(
        Scope(**{"as_of": LATER, "within": 90} | params), shop=Shop.current()
    )
    return report.rows[0]


def test_unchanged_data_do_not_run_the_estimator_again(repairs, calculations):
    before = first_row()
    assert first_row() == before
    assert len(calculations) == 1


def test_another_date_or_period_is_another_query(repairs, calculations):
    assert first_row().comebacks == 3
    assert first_row(within=5).comebacks == 0
    assert first_row(as_of=ON + days(9)).comebacks == 1
    assert len(calculations) == 3


def test_two_queries_in_one_cache_slot_do_not_mix(repairs, calculations, monkeypatch):
    monkeypatch.setattr(report_cache, "MAX_RESULTS", 1)
    assert (first_row().comebacks, first_row(within=5).comebacks) == (3, 0)
    assert first_row().comebacks == 3
    assert len(calculations) == 3


def test_the_cache_keeps_a_limited_number_of_reports(repairs, monkeypatch):
    monkeypatch.setattr(report_cache, "MAX_RESULTS", 3)
    for within in range(7, 19):
        first_row(within=within)
    used = [n for n in range(200) if cache.get(f"comebacks-{n}") is not None]
    assert used and set(used) <= {0, 1, 2}


def a_new_decision(repairs):
    make.comeback(repairs[5], on=ON + days(40))


def a_decision_changed(repairs):
    first = repairs[0].later_assessments.get()
    make.decision(first.job, repairs[0], assessment=states.NEW_FAULT, on=ON + days(40))


def a_hand_over(repairs):
    job = make.job(on=ON)
    make.repair(
        job,
        repairs[0].fault,
        fix=repairs[0].fix,
        outcome=states.FIXED,
        fix_type="lasting",
    )
    Job.objects.filter(pk=job.pk).update(state=states.READY, outcome=states.FIXED)
    job.refresh_from_db()
    workflow.hand_over(
        job, stamp=make.stamp(on=LATER, by=make.user(Role.OWNER)), shop=make.shop()
    )


def a_changed_limit(repairs):
    Shop.objects.update(max_comeback_risk=Decimal("0.01"))


def a_changed_sureness(repairs):
    Shop.objects.update(
        max_comeback_risk=Decimal("0.3"), verdict_confidence=Decimal("0.51")
    )


def a_renamed_fault(repairs):
    Fault.objects.update(code="RENAMED")


def a_renamed_fix(repairs):
    Fix.objects.update(code="RENAMED-FIX")


def a_device_sold_on(repairs):
    Device.objects.filter(pk=repairs[6].job.device_id).update(
        out_of_use_on=ON + days(20)
    )


def a_comeback_handed_over(repairs):
    job = repairs[0].later_assessments.get().job
    make.repair(job, repairs[0].fault, cost=Decimal(77))
    make.hand_over(job, on=LATER)


@pytest.mark.parametrize(
    "change",
    [
        a_new_decision,
        a_decision_changed,
        a_hand_over,
        a_changed_limit,
        a_changed_sureness,
        a_renamed_fault,
        a_renamed_fix,
        a_device_sold_on,
        a_comeback_handed_over,
    ],
)
def test_a_change_shows_at_once(repairs, calculations, change):
    before = first_row()
    change(repairs)
    after = first_row()
    assert after != before
    assert len(calculations) == 2
    cache.clear()
    assert first_row() == after


def test_two_opposite_changes_do_not_cancel_out(repairs, calculations):
    Repair.objects.filter(pk=repairs[7].pk).update(comeback_allowance=Decimal(7))
    first_row()
    Repair.objects.filter(pk=repairs[7].pk).update(comeback_allowance=None)
    Repair.objects.filter(pk=repairs[0].pk).update(comeback_allowance=Decimal(7))
    first_row()
    assert len(calculations) == 2


def test_later_assessments_do_not_change_a_past_date(repairs):
    then = ON + days(30)
    before = first_row(as_of=then)
    a_new_decision(repairs)
    a_decision_changed(repairs)
    make.past_repair(repairs[0].fault, repairs[0].fix, on=ON + days(31))
    assert first_row(as_of=then) == before
    assert first_row() != before


def test_the_fingerprint_takes_one_query_for_few_rows_and_for_many(
    repairs, django_assert_num_queries
):
    shop = Shop.current()
    with django_assert_num_queries(1):
        few = report_cache.fingerprint(shop)
    for n in range(20):
        make.past_repair(make.fault(), make.fix(), on=ON + days(n))
    with django_assert_num_queries(1):
        assert report_cache.fingerprint(shop) != few


@pytest.fixture
def of_each_kind(repairs):
    delivered = make.delivery(
        make.part(), 5, supplier=Supplier.objects.create(name="Halden Parts")
    )
    PartUsed.objects.create(repair=repairs[0], part=delivered.part, delivery=delivered)


NEVER_CHANGED = "repairs_returnassessment"  # the database refuses it


@pytest.mark.parametrize(
    ("table", "column"),
    [
        (table, column)
        for table, columns in COUNTED.items()
        for column in columns.split()
        if table != NEVER_CHANGED
    ],
)
def test_a_change_of_any_counted_column_changes_the_mark(of_each_kind, table, column):
    before = ChangeMark.objects.marks()
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE {table} SET {column} = {column}")
        assert cursor.rowcount
    after = ChangeMark.objects.marks()
    assert {what for what in after if after[what] != before.get(what)} == {table}


def test_changes_that_do_not_count_keep_the_report(repairs, calculations):
    first_row()
    Job.objects.update(version=7, bench_notes="Looked at it.")
    Repair.objects.update(note="Went well.")
    first_row()
    assert len(calculations) == 1


def test_rows_saved_with_ignored_conflicts_leave_a_mark(repairs):
    before = report_cache.fingerprint(Shop.current())
    job = repairs[0].job
    more = Repair(job=job, fault=repairs[0].fault, handed_over_on=job.handed_over_on)
    Repair.objects.bulk_create([more], ignore_conflicts=True)
    assert report_cache.fingerprint(Shop.current()) != before


def test_a_rollback_changes_nothing(repairs):
    before = report_cache.fingerprint(Shop.current())
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        a_renamed_fault(repairs)
        assert report_cache.fingerprint(Shop.current()) != before
        raise ZeroDivisionError
    assert report_cache.fingerprint(Shop.current()) == before


def test_many_marks_are_merged_without_changing_their_sum(repairs, monkeypatch):
    if connection.vendor == "sqlite":
        pytest.skip("SQLite has one mark a table")
    for n in range(3):
        ChangeMark.objects.create(
            table_name="repairs_fix", written_in=-n - 1, mark=2**52 + n
        )
    before, many = ChangeMark.objects.marks(), ChangeMark.objects.count()
    monkeypatch.setattr(change_marks, "MOST", 1)
    assert ChangeMark.objects.marks() == before
    assert ChangeMark.objects.count() == len(before) < many
    assert ChangeMark.objects.marks() == before
