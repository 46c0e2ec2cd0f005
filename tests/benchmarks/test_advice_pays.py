"""The simulation in small: does following the advice do harm, and does it help?

The whole of it, with its figures: `python -m tests.benchmarks.advice_pays`.
"""

import numpy as np
import pytest

from tests.benchmarks.advice_pays import BY_NAME, FOLLOW, NEVER, ORACLE, run, study

pytestmark = pytest.mark.once


def test_the_advice_helps_and_nobody_beats_the_oracle():
    [result] = study(2, only=("usual shop",))
    assert 0.3 < result.share(slice(12, 24)).value <= 1
    assert result.gain().value > 10 * result.harm().value
    assert result.saved().value > 2
    assert (result.runs[ORACLE] >= result.runs[FOLLOW] - 1e-9).all()


def test_without_stopgaps_it_does_next_to_no_harm():
    one = run(BY_NAME["no stopgaps"], np.random.default_rng(4))
    assert one["harm"].sum() < 0.01 * one[NEVER].sum()
    assert one[FOLLOW].sum() > 0.999 * one[NEVER].sum()
