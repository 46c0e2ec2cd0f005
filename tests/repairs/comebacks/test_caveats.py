"""The limits of the report: which model was used, and how certain it is."""

from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd

from repairs.comebacks.caveats import caveats
from repairs.comebacks.comeback_table import comeback_table
from repairs.comebacks.watch import count_exits


def text(pairs, *, comebacks, without_comeback=20):
    """The sentences of a shop with so many pairs.

    The last fifth of them are stopgaps with `back` comebacks each.
    """
    bad = pairs - max(1, pairs // 5)
    rows = [
        (pair, 20 if n < returns else 90, int(n < returns))
        for pair in range(pairs)
        for returns in [comebacks if pair >= bad else 0]
        for n in range(without_comeback)
    ]
    pair, t, d = np.array(rows).T
    sentences = ["stopgap" if pair >= bad else "lasting" for pair in range(pairs)]
    table = comeback_table(
        count_exits(pair, days=t, is_event=d, pairs=pairs, within=90),
        pd.DataFrame(
            {
                "fault_id": range(pairs),
                "fix_id": 1,
                "fault_name": "",
                "fix_name": "",
                "fault": [f"F{pair}" for pair in range(pairs)],
                "fix": "X",
                "fix_type": sentences,
                "mean_rework_cost": Decimal(40),
            }
        ),
        limit=0.1,
        confidence=0.9,
    )
    return table, " ".join(caveats(table, as_of=date(2026, 3, 31)))


def test_the_report_says_how_reliable_the_recorded_types_are():
    table, sentences = text(40, comebacks=10)
    lasting, stopgap = (
        table.rates.parameters.reliable_share(is_stopgap=word) for word in (False, True)
    )
    assert lasting > 0.9 > 0.5 > stopgap
    assert "Prior probability of the better group: " in sentences
    assert "for lasting fixes" in sentences
    assert "form two groups" in sentences
    assert "mainly an assumption" not in sentences


def test_a_small_shop_is_told_that_this_is_mainly_an_assumption():
    _, sentences = text(6, comebacks=3)
    assert "this is mainly an assumption" in sentences


def test_the_report_says_so_if_there_are_no_comebacks():
    _, sentences = text(40, comebacks=0)
    assert "No comebacks recorded yet." in sentences


def test_the_general_limits_are_always_shown():
    for comebacks in (10, 0):
        _, sentences = text(40, comebacks=comebacks)
        assert "repaired elsewhere are not recorded" in sentences
        assert "Ranges are approximate." in sentences
