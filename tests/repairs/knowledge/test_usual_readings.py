from decimal import Decimal

import pytest
from scipy.stats import median_abs_deviation

from repairs.jobs.bench_notation import parse_reading
from repairs.knowledge.usual_readings import strip_plot, usual_reading


def usual(*texts):
    return usual_reading("rail", [parse_reading(text) for text in texts])


def test_median_and_spread_agree_with_a_library():
    values = ["5.02", "4.90", "5.01", "5.12", "4.40", "4.95", "5.06"]
    found = usual(*(value + "V" for value in values))
    spread = median_abs_deviation([float(v) for v in values], scale="normal")
    assert found.median == Decimal("5.01")
    assert float(found.spread) == pytest.approx(spread, rel=1e-4)
    # One bad device among the good ones hardly matters.
    assert found.text == "4.743 V to 5.277 V"


def test_equal_readings_still_have_a_range():
    assert usual("3v3", "3v3", "3v3").text == "3.234 V to 3.366 V"
    assert usual("R02", "R01", "R04", "R03", "0R").expected.low == 0


def test_few_readings_tell_nothing_and_open_circuits_are_usual():
    assert usual("5V", "5V") is None
    opened = usual("OL", "OL", "1M", "OL")
    assert opened.is_open and opened.text == opened.median_text == "OL"
    assert usual(">1M", ">1M", ">1M") is None
    assert strip_plot(opened, here=[]) is None


def test_the_strip_shows_all_readings_in_their_order():
    found = usual("5.02V", "4.98V", "5.1V")
    strip = strip_plot(found, here=[Decimal("3.1")])
    assert strip.here[0] < strip.low < min(strip.dots) < strip.middle
    assert strip.middle < max(strip.dots) < strip.high <= strip.width
