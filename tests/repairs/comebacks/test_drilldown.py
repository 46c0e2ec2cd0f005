"""Every total of the comeback pages opens the jobs it counts."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db.models import Q

from repairs.comebacks.drilldown import (
    comeback_costs,
    counted_repairs,
    outcomes,
)
from repairs.comebacks.scope import Scope
from repairs.jobs import states
from repairs.month.report import month_report
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db
NOW = date(2026, 8, 31)
DAY = {"as_of": NOW, "within": 90}
SIGN_IN = "django.contrib.auth.backends.ModelBackend"
REPAIRS, REDONE = "/comebacks/repairs/", "/comebacks/redone/"


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to("2026-09-15 09:00")


def pair(**facts):
    fault = make.fault(**facts)
    return fault, make.fix(fault)


def page_text(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def history():
    """Repairs with every result, some devices out of use, some assessed again."""
    rng = np.random.default_rng(4)
    of = pair(), pair()
    for n in range(60):
        on = date(2026, 3, 1) + timedelta(days=int(rng.integers(0, 200)))
        ends = on + timedelta(days=int(rng.integers(-5, 120)))
        device = make.device(out_of_use_on=ends if rng.random() < 0.3 else None)
        repair = make.past_repair(*of[n % 2], on=on, of=device)
        if rng.random() < 0.4:
            back = on + timedelta(days=int(rng.integers(0, 110)))
            made = make.comeback(repair, on=back)
            if rng.random() < 0.3:
                make.decision(
                    made.job,
                    repair,
                    assessment=states.NEW_FAULT,
                    on=back + timedelta(days=int(rng.integers(0, 40))),
                )
    return of


@pytest.mark.parametrize("result", ["comeback", "in follow-up"])
def test_repairs_filtered_by_result_have_that_result(result):
    history()
    for as_of in (date(2026, 5, 20), NOW):
        day = {"as_of": as_of, "within": 90}
        shown = {
            row.repair.pk
            for row in outcomes(counted_repairs(**day), **day)
            if row.result == result
            # Out of use, and so no longer in follow-up.
            and not (
                result == "in follow-up"
                and (row.job.device.out_of_use_on or date.max) <= as_of
            )
        }
        found = counted_repairs(**day, result=result)
        assert set(found.values_list("pk", flat=True)) == shown
        assert shown


def test_the_totals_open_as_many_jobs(owner):
    history()
    page = owner.get("/comebacks/", DAY)
    record = page.context["report"]
    for params, count in (
        ("", record.repairs),
        ("&amp;result=comeback", record.comebacks),
    ):
        address = f"{REPAIRS}?as_of=2026-08-31&amp;within=90{params}"
        assert f'<a href="{address}">{count}</a>' in page_text(page)
        answer = owner.get(address.replace("&amp;", "&"))
        assert answer.context["count"] == count > 0
        assert answer.context["table"].paginator.count == count


def test_follow_up_and_actual_comebacks_open_as_many_jobs(owner):
    history()
    shown = month_report(Scope(**DAY), shop=Shop.current())
    in_follow_up = owner.get(REPAIRS, DAY | {"result": "in follow-up"})
    assert in_follow_up.context["count"] == shown.forecast.in_follow_up > 0
    came = owner.get(REPAIRS, DAY | {"result": "comeback", "since": shown.before})
    assert came.context["count"] == shown.actual > 0
    assert f"in follow-up on {shown.before.day} Jul 2026" in page_text(came)


def test_the_cells_of_the_triangle_open_as_many_jobs(owner):
    history()
    page = owner.get("/comebacks/month/", DAY)
    text = page_text(page)
    opened = 0
    for row, cells in page.context["month"].triangle.rows:
        for cell in cells:
            address = (
                f"/comebacks/month/{row.month.year}/{row.month.month}/?as_of=2026-08-31"
                f"&within=90&result=comeback&min_days={cell.min_days}&max_days={cell.max_days}"
            )
            assert (address.replace("&", "&amp;") in text) == bool(cell.count)
            if cell.count:
                assert owner.get(address).context["repairs"] == cell.count
                opened += cell.count
    assert opened > 3


def test_a_long_list_is_read_a_page_at_a_time(owner):
    of = pair()
    for n in range(53):
        make.past_repair(*of, on=date(2026, 5, 1) + timedelta(days=n % 20))
    first = owner.get(REPAIRS, DAY)
    assert [first.context["count"], len(first.context["table"].paginated_rows)] == [
        53,
        50,
    ]
    second = owner.get(REPAIRS, DAY | {"page": 2})
    jobs = {
        row.record.job.pk
        for page in (first, second)
        for row in page.context["table"].paginated_rows
    }
    assert len(jobs) == 53


@pytest.mark.parametrize(("address", "queries"), [(REPAIRS, 9), (REDONE, 6)])
@pytest.mark.parametrize("many", [1, 30])
def test_a_list_needs_as_many_queries_for_one_row_as_for_many(
    owner, address, queries, many, django_assert_num_queries
):
    of = pair()
    for n in range(many):
        on = date(2026, 5, 1) + timedelta(days=n)
        make.redone(make.past_repair(*of, on=on, back_on=on), "20", on=date(2026, 8, 9))
    owner.get(address, DAY)
    with django_assert_num_queries(queries):
        owner.get(address, DAY)


def test_the_costs_link_to_the_comebacks(owner):
    of, other = pair(code="PWR-TEST"), pair()
    for amount in ("40.10", "60.20"):
        repair = make.past_repair(*of, on=date(2026, 2, 1), back_on=date(2026, 8, 2))
        make.redone(repair, amount, on=date(2026, 8, 9))
    late = make.past_repair(*other, on=date(2026, 5, 1), back_on=date(2026, 7, 2))
    make.redone(late, "70", on=date(2026, 7, 9))
    here = make.past_repair(*other, on=date(2026, 8, 3), back_on=date(2026, 8, 20))
    # What was not fixed is no repair that counts, so this is no comeback of one.
    not_fixed = make.past_repair(
        *of, on=date(2026, 7, 1), back_on=date(2026, 8, 4), outcome=states.NOT_FIXED
    )
    make.redone(not_fixed, "900", on=date(2026, 8, 9))
    text = page_text(owner.get("/comebacks/month/", DAY))
    params = "as_of=2026-08-31&amp;within=90"
    assert f'<a href="{REDONE}?{params}">2 comebacks</a>' in text
    assert f'<a href="{REDONE}?{params}&amp;here=1">1 more</a>' in text
    answer = owner.get(REDONE, DAY)
    assert (answer.context["count"], answer.context["cost"]) == (2, Decimal("100.30"))
    assert "2 in August 2026 up to 31 Aug 2026" in page_text(answer)
    of_pair = comeback_costs(as_of=NOW, pairs=Q(fault=of[0], fix=of[1]))
    assert len(of_pair) == 2
    assert comeback_costs(as_of=NOW, pairs=Q(fault=other[0])) == []
    [still] = owner.get(REDONE, DAY | {"here": "1"}).context["table"].data
    assert (still.earlier, still.cost) == (here, None)


def test_a_filtered_list_keeps_its_filter_for_another_date(owner):
    of = pair()
    laptop = make.device(model=make.device_model("laptop", "Norwind", "Slate 14"))
    amplifier = make.device(model=make.device_model("amplifier", "Halden", "A2"))
    for device in (laptop, amplifier):
        make.past_repair(*of, on=date(2026, 8, 3), of=device)
    answer = owner.get(REPAIRS, DAY | {"kind": "laptop", "result": "in follow-up"})
    text = page_text(answer)
    assert answer.context["count"] == 1
    assert "(kind laptop)" in text
    assert '<input type="hidden" name="kind" value="laptop">' in text
    assert '<input type="hidden" name="result" value="in follow-up">' in text


@pytest.mark.parametrize("address", [REPAIRS, REDONE, "/comebacks/month/2026/5/"])
@pytest.mark.parametrize(
    "params",
    [
        {"result": "lost"},
        {"min_days": "-1"},
        {"max_days": "9" * 400},
        {"fault": "x"},
        {"since": "soon"},
    ],
)
def test_an_invalid_address_is_a_404(owner, address, params):
    assert owner.get(address, params).status_code == 404


@pytest.mark.parametrize("address", [REPAIRS, REDONE])
def test_an_invalid_date_is_reported_and_stays_in_the_field(owner, address):
    text = page_text(owner.get(address, {"as_of": "2048-01-01", "kind": "submarine"}))
    assert "This date is in the future." in text
    assert "No such device kind." in text
    assert 'value="2048-01-01"' in text


@pytest.mark.parametrize("address", [REPAIRS, REDONE])
def test_only_the_owner_opens_the_lists(client, address):
    assert client.get(address).status_code == 302
    for kind in (Role.COUNTER, Role.BENCH):
        client.force_login(make.user(kind), SIGN_IN)
        assert client.get(address).status_code == 403


@pytest.mark.parametrize("sort", ["days", "-comeback", "nonsense", ""])
@pytest.mark.parametrize("address", [REPAIRS, REDONE])
def test_an_unknown_sort_order_is_ignored(owner, address, sort):
    history()
    params = {"as_of": NOW, "sort": sort}
    assert "Fault and fix" in page_text(owner.get(address, params))
