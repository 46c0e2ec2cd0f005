import pytest

from shopdesk.look.formats import format_share, format_share_range
from shopdesk.templatetags.desk import share, share_range


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0 %"),
        (0.0004, "<0.1 %"),
        (0.0005, "0.1 %"),
        (0.0231, "2.3 %"),
        (0.0994, "9.9 %"),
        (0.0995, "10 %"),
        (0.414, "41 %"),
        (0.994, "99 %"),
        (0.995, ">99 %"),
        (1.0, "100 %"),
    ],
)
def test_a_share_has_the_digits_that_mean_something(value, text):
    assert format_share(value) == text


def test_two_limits_share_one_percent_sign():
    assert format_share_range(0.0001, 0.277) == "<0.1–28 %"


def test_the_filters_leave_a_missing_figure_empty():
    assert (share(0.25), share(None)) == ("25 %", "")
    assert share_range(0.05, 0.5) == "5.0–50 %"
    assert share_range(None, 0.5) == share_range(0.1, None) == ""
