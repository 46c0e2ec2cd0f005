import pytest

from shopdesk.look.axis import MAX_STEPS, Axis, share_axis, share_label


@pytest.mark.parametrize("most", [0.001, 0.02, 0.1, 0.16, 0.5, 0.99, 1.0])
def test_an_axis_of_shares_ends_above_the_largest_and_has_few_ticks(most):
    axis = share_axis(most, start=50, stop=650)
    assert most <= axis.end <= 1.0
    ticks = axis.ticks(share_label)
    assert 2 <= len(ticks) <= MAX_STEPS + 2
    assert (ticks[0].position, ticks[0].label) == (50, "0 %")
    assert ticks[-1].position == 650


def test_a_value_is_drawn_in_proportion_and_never_beyond_the_end():
    axis = Axis(start=300, stop=100, end=0.4, step=0.1)
    assert axis.position(0.1) == 250
    assert axis.position(0.9) == 100


def test_ticks_stand_at_whole_steps_even_where_the_end_is_none():
    axis = Axis(start=0, stop=90, end=90, step=20)
    ticks = axis.ticks(lambda day: f"{day:g}")
    assert [tick.label for tick in ticks] == ["0", "20", "40", "60", "80"]


def test_labels_of_shares_drop_needless_digits():
    assert [share_label(x) for x in (0.005, 0.1, 0.30000000000000004)] == [
        "0.5 %",
        "10 %",
        "30 %",
    ]
