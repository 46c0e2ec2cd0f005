"""Allowances charged for comebacks are compared with their cost."""

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest

from repairs.comebacks.scope import Scope
from repairs.jobs.models import Repair
from repairs.month.month_chart import BAR_RIGHT, allowance_chart
from repairs.month.report import month_report
from repairs.month.reserves import AllowanceMonth, total_allowance
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db
NOW = date(2026, 8, 31)


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to("2026-09-15 09:00")


@pytest.fixture
def page(client):
    client.force_login(
        make.user(Role.OWNER), "django.contrib.auth.backends.ModelBackend"
    )

    def text(as_of=NOW):
        answer = client.get("/comebacks/month/", {"as_of": as_of})
        assert answer.status_code == 200
        return " ".join(answer.content.decode().split())

    return text


def report(as_of=NOW):
    return month_report(Scope(as_of=as_of, within=90), shop=Shop.current())


@pytest.fixture
def of():
    fault = make.fault()
    return fault, make.fix(fault)


def done(of, many, *, month, **facts):
    return [
        make.past_repair(*of, on=date(2026, month, 1) + timedelta(days=n), **facts)
        for n in range(many)
    ]


def came_back(repair, *, on, cost=None):
    """Its comeback; with a cost it is handed over five days later."""
    make.comeback(repair, on=on)
    if cost is not None:
        make.redone(repair, cost, on=on + timedelta(days=5))


def test_the_allowances_of_a_month_are_compared_with_its_costs(of):
    may = done(of, 10, month=5, comeback_allowance=Decimal("4.50"))
    came_back(may[0], on=date(2026, 6, 20), cost="30")
    came_back(may[1], on=date(2026, 7, 10), cost="25.50")
    rows = {row.name: row for row in report().allowances}
    shown = rows["May 2026"]
    assert (shown.charged, shown.spent) == (Decimal(45), Decimal("55.50"))
    assert (shown.expected, shown.difference) == (0, Decimal("10.50"))
    assert shown.result == "shortfall"
    # A comeback's own repair is a repair of its month, with no reserve on record.
    assert (rows["Jun 2026"].repairs, rows["Jun 2026"].with_allowance) == (1, 0)


def test_expected_comebacks_cost_the_mean_rework_cost(of):
    may = done(of, 10, month=5)
    for repair in may[:3]:
        came_back(repair, on=date(2026, 6, 20), cost="30")
    done(of, 4, month=8, comeback_allowance=Decimal(10))
    shown = report()
    [row] = [row for row in shown.allowances if row.name == "Aug 2026"]
    august = shown.months.rows[-1]
    assert (row.charged, row.spent) == (Decimal(40), Decimal(0))
    exact = Decimal(repr(august.still_expected)) * Decimal(30)
    assert row.expected == exact.quantize(Decimal("0.01")) > 0


def test_an_open_comeback_is_expected_to_cost_the_mean(of):
    may = done(of, 4, month=5, comeback_allowance=Decimal(5))
    came_back(may[0], on=date(2026, 6, 1), cost="40")
    before = report().allowances[-4]
    came_back(may[1], on=date(2026, 7, 1))
    after = report().allowances[-4]
    assert (before.name, before.expected, before.spent) == ("May 2026", 0, 40)
    assert (after.expected, after.spent) == (40, 40)


def test_repairs_without_an_allowance_are_left_out_and_counted(of, page):
    with_it = done(of, 3, month=8, comeback_allowance=Decimal(5))
    without = done(of, 4, month=8)
    came_back(with_it[0], on=date(2026, 8, 10), cost="20")
    came_back(without[0], on=date(2026, 8, 10), cost="900")
    row = report().month_allowance
    # The two comebacks were handed over in August themselves.
    assert (row.repairs, row.with_allowance, row.missing) == (9, 3, 6)
    assert (row.charged, row.spent) == (15, 20)
    text = page()
    assert "6 of 9 repairs have no allowance on record" in text
    assert "are left out of both sums" in text


def test_without_allowances_with_allowance_there_are_no_bars(of, page):
    done(of, 2, month=8)
    text = page()
    assert "2 of 2 repairs have no allowance on record" in text
    assert 'id="bars-title"' not in text
    assert report().allowance_chart.bars == []


def test_later_costs_do_not_count_on_a_past_date(of):
    [repair] = done(of, 1, month=5, comeback_allowance=Decimal(5), cost=Decimal(25))
    came_back(repair, on=date(2026, 6, 20), cost="30")
    early = {row.name: row for row in report(date(2026, 6, 10)).allowances}["May 2026"]
    between = {row.name: row for row in report(date(2026, 6, 22)).allowances}[
        "May 2026"
    ]
    assert (early.charged, early.spent) == (5, 0)
    assert between.spent == 0 < between.expected


def test_an_allowance_set_later_shows_immediately(of, page):
    [repair] = done(of, 1, month=8)
    assert "1 of 1 repair has no allowance on record" in page()
    Repair.objects.filter(pk=repair.pk).update(comeback_allowance=Decimal(7))
    assert "no allowance on record" not in page()


def test_the_bars_give_their_figures_to_mouse_and_keyboard(of, page):
    may = done(of, 2, month=5, comeback_allowance=Decimal("4.50"))
    came_back(may[0], on=date(2026, 6, 20), cost="30")
    text = page()
    [figures] = re.findall(r'aria-label="(May 2026: [^"]* charged[^"]*)"', text)
    for piece in ("9.00 charged", "30.00 spent so far", "shortfall"):
        assert piece in figures
    assert (
        '<caption id="allowance-caption">Allowances by month of handover</caption>'
        in text
    )
    row = '<td data-label="Result">shortfall</td>'
    assert f'{row}<td class="num" data-label="On record">2 of 2</td>' in text


# --- the chart ----------------------------------------------------------------


def row(month, *, charged, spent="0", expected="0", with_allowance=1):
    return AllowanceMonth(
        date(2026, month, 1),
        3,
        with_allowance,
        *map(Decimal, (charged, spent, expected)),
    )


def test_the_longest_bar_fills_the_chart_and_the_others_are_to_scale():
    shown = allowance_chart(
        [row(1, charged="10"), row(2, charged="5", spent="15", expected="5")]
    )
    late, early = shown.bars
    assert (late.row.month.month, early.row.month.month) == (2, 1)
    whole = BAR_RIGHT - shown.left
    assert late.spent + late.expected == whole
    assert early.charged == whole / 2
    assert late.x_expected == shown.left + late.spent


def test_months_without_allowances_are_not_drawn():
    assert allowance_chart([row(1, charged="0", with_allowance=0)]).bars == []
    assert allowance_chart([row(1, charged="0")]).bars[0].charged == 0


def test_the_total_of_months_adds_up():
    shown = total_allowance(
        [row(1, charged="10", spent="2"), row(2, charged="1", spent="20")]
    )
    assert (shown.repairs, shown.with_allowance, shown.charged, shown.needed) == (
        6,
        2,
        11,
        22,
    )
    assert shown.is_short
