"""What stands under the table: by which recipe, and how sure that is."""

from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd

from repairs.comebacks.honesty import said_with
from repairs.comebacks.pairs import comeback_table
from repairs.comebacks.watch import counted


def said(pairs, *, back, held=20, is_plain=False):
    """The sentences of a shop of so many pairs; the last fifth of them, declared
    stopgaps, come back each `back` times."""
    bad = pairs - max(1, pairs // 5)
    rows = [
        (pair, 20 if n < returns else 90, int(n < returns))
        for pair in range(pairs)
        for returns in [back if pair >= bad else 0]
        for n in range(held)
    ]
    pair, t, d = np.array(rows).T
    words = ["stopgap" if pair >= bad else "lasting" for pair in range(pairs)]
    table = comeback_table(
        counted(pair, t=t, d=d, pairs=pairs, within=90),
        pd.DataFrame(
            {
                "fault": [f"F{pair}" for pair in range(pairs)],
                "fix": "X",
                "declared": words,
                "mean_redo_cost": Decimal(40),
            }
        ),
        limit=0.1,
        verdict_confidence=0.9,
        is_plain=is_plain,
    )
    return table, " ".join(said_with(table, as_of=date(2026, 3, 31)))


def test_it_says_what_the_benchs_word_has_proved_to_be_worth():
    table, words = said(40, back=10)
    lasting, stopgap = (
        table.figures.share_that_holds(is_stopgap=said) for said in (False, True)
    )
    assert lasting > 0.9 > 0.5 > stopgap
    assert "a fix declared lasting is taken to be of the first" in words
    assert "fall into two groups" in words
    assert "mostly a guess" not in words


def test_a_small_shop_is_told_that_this_is_mostly_a_guess():
    _, words = said(6, back=3)
    assert "this is still mostly a guess" in words


def test_the_plain_recipe_says_nothing_of_what_was_declared():
    _, words = said(40, back=10, is_plain=True)
    assert "fall into two groups" in words
    assert "declared lasting" not in words


def test_a_shop_without_a_comeback_is_told_so():
    _, words = said(40, back=0)
    assert "No comeback has been seen yet" in words


def test_what_cannot_be_seen_is_said_whatever_the_recipe():
    for is_plain in (True, False):
        _, words = said(40, back=10, is_plain=is_plain)
        assert "another shop is not seen" in words
        assert "limits are approximate" in words
