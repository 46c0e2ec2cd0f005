from datetime import date, timedelta
from decimal import Decimal

import pytest

from repairs.comebacks.record import ComebackReport, build_report
from repairs.comebacks.scope import Scope
from repairs.knowledge.fix_comparison import FixComparison, included_tax
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import LABOUR
from tests import make

pytestmark = pytest.mark.django_db
ON, LATER = date(2026, 1, 10), date(2026, 6, 1)


def comparison(fault):
    shop = Shop.current()
    report = build_report(Scope(as_of=LATER, within=90), shop=shop)
    fixes = FixComparison(report, fault=fault)
    return fixes, fixes.options(shop=shop)


def repairs(fault, fix, *, comebacks):
    """Twelve repairs, of which so many come back after ten days."""
    for n in range(12):
        on = ON + timedelta(days=n)
        back_on = on + timedelta(days=10) if n < comebacks else None
        make.past_repair(fault, fix, on=on, back_on=back_on)


def test_every_two_fixes_are_compared_once():
    fault = make.fault()
    for code, comebacks in (("BAD", 8), ("GOOD", 0), ("FAIR", 4)):
        repairs(fault, make.fix(fault, code=code), comebacks=comebacks)
    fixes, _ = comparison(fault)
    by_codes = {(pair.first.fix, pair.second.fix): pair for pair in fixes.pairs}
    assert list(by_codes) == [("GOOD", "FAIR"), ("GOOD", "BAD"), ("FAIR", "BAD")]
    clear, unclear = by_codes["GOOD", "BAD"], by_codes["FAIR", "BAD"]
    assert clear.probability > 0.99
    assert clear.p_value < 0.001
    assert 0.5 < unclear.probability < clear.probability
    assert unclear.p_value > 0.05


def test_each_fix_is_compared_with_the_best_of_the_others():
    fault = make.fault()
    for code, comebacks in (("BAD", 8), ("GOOD", 0), ("FAIR", 4)):
        repairs(fault, make.fix(fault, code=code), comebacks=comebacks)
    fixes, options = comparison(fault)
    good_fair, good_bad, _ = (pair.probability for pair in fixes.pairs)
    best = {option.row.fix: option.probability_best for option in options}
    assert best == {
        "GOOD": good_fair,
        "FAIR": pytest.approx(1 - good_fair),
        "BAD": pytest.approx(1 - good_bad),
    }


def test_the_total_cost_includes_the_expected_rework(monkeypatch):
    """An hour costs the shop 34.00; a quarter of the repairs cost it once more."""
    make.shop(hourly_cost=Decimal(34))
    monkeypatch.setattr(ComebackReport, "average_risk", 0.25)
    fault = make.fault()
    never_done = make.fix(fault, minutes=60)
    _, (option,) = comparison(fault)
    assert (option.fix, option.row) == (never_done, None)
    assert option.cost.cost == Decimal(34)
    assert option.total_cost == Decimal("42.50")


def test_the_fixes_of_a_fault_are_compared_the_lowest_risk_first():
    fault = make.fault()
    good, bad, new = (make.fix(fault, code=c) for c in ("GOOD", "BAD", "NEW"))
    repairs(fault, good, comebacks=0)
    repairs(fault, bad, comebacks=12)
    fixes, options = comparison(fault)
    assert [option.fix for option in options] == [good, bad, new]
    best, worst, unknown = (option.probability_best for option in options)
    assert best > 0.99
    assert best + worst == pytest.approx(1)
    assert (options[2].row, unknown) == (None, None)
    [pair] = fixes.pairs
    assert (pair.first.fix, pair.p_value < 0.001) == ("GOOD", True)


def test_a_single_fix_has_nothing_to_be_compared_with():
    fault = make.fault()
    make.past_repair(fault, make.fix(fault), on=ON)
    fixes, [option] = comparison(fault)
    assert fixes.pairs == []
    assert option.probability_best is None


def test_profit_after_comebacks_does_not_favour_the_bad_cheap_fix():
    """The cheap fix costs less in total, and still earns less per job."""
    make.shop(hourly_cost=Decimal(30), hourly_rate=Decimal(90), minimum_minutes=0)
    fault = make.fault()
    cheap = make.fix(fault, code="CHEAP", minutes=20)
    good = make.fix(fault, code="GOOD", minutes=60)
    repairs(fault, cheap, comebacks=6)
    repairs(fault, good, comebacks=0)
    _, options = comparison(fault)
    by = {option.fix.code: option for option in options}
    assert by["CHEAP"].total_cost < by["GOOD"].total_cost
    assert by["CHEAP"].profit < by["GOOD"].profit
    one = by["GOOD"]
    tax = 1 + included_tax(LATER, Shop.current())[LABOUR] / 100
    assert one.profit == pytest.approx(
        one.cost.price / tax - one.total_cost, abs=Decimal("0.01")
    )
