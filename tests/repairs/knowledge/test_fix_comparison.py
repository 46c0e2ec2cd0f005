from datetime import date, timedelta

import numpy as np
import pytest

from repairs.comebacks.estimate.comparison import compare_pairwise
from repairs.comebacks.estimate.posterior import posterior
from repairs.comebacks.estimate.prior import Prior
from repairs.comebacks.record import build_report
from repairs.comebacks.scope import Scope
from repairs.comebacks.watch import count_exits
from repairs.knowledge.fix_comparison import FixComparison
from shopdesk.shop.models import Shop
from tests import make


def test_every_two_fixes_are_compared_once():
    number = np.repeat([0, 1, 2], 12)
    d = np.concatenate([[1] * 8 + [0] * 4, [0] * 12, [1] * 4 + [0] * 8])
    t = np.where(d == 1, 10, 90)
    counts = count_exits(number, days=t, is_event=d, pairs=3, within=90)
    known = posterior(
        Prior((2.0,), (2.0,), (1.0,)),
        comebacks=counts.comebacks,
        expected=np.array([4.0, 4.0, 4.0]),
    )
    found = compare_pairwise(known, counts=counts)
    assert [(f.first, f.second) for f in found] == [(0, 1), (0, 2), (1, 2)]
    assert found[0].probability < 0.01
    assert found[0].p_value < 0.001
    assert found[1].probability == pytest.approx(0.13, abs=0.05)
    assert found[1].p_value > 0.05


# --- with the records -----------------------------------------------------------------

ON, LATER = date(2026, 1, 10), date(2026, 6, 1)


def comparison(fault):
    shop = Shop.current()
    report = build_report(Scope(as_of=LATER, within=90), shop=shop)
    found = FixComparison(report, fault=fault)
    return found, found.options(shop=shop)


@pytest.mark.django_db
def test_the_fixes_of_a_fault_are_compared_the_lowest_risk_first():
    fault = make.fault()
    good, bad, new = (make.fix(fault, code=c) for c in ("GOOD", "BAD", "NEW"))
    for n in range(12):
        on = ON + timedelta(days=n)
        make.past_repair(fault, good, on=on)
        make.past_repair(fault, bad, on=on, back_on=on + timedelta(days=9))
    found, options = comparison(fault)
    assert [option.fix for option in options] == [good, bad, new]
    best, worst, unknown = (option.probability_best for option in options)
    assert best > 0.99
    assert best + worst == pytest.approx(1)
    assert (options[2].row, unknown) == (None, None)
    [pair] = found.pairs
    assert (pair.first.fix, pair.p_value < 0.001) == ("GOOD", True)


@pytest.mark.django_db
def test_a_single_fix_has_nothing_to_be_compared_with():
    fault = make.fault()
    make.past_repair(fault, make.fix(fault), on=ON)
    found, [option] = comparison(fault)
    assert found.pairs == []
    assert option.probability_best is None
