import pytest

from billing.customer_page.forms import MAX_SIGNATURE_LENGTH, is_signature_path


@pytest.mark.parametrize(
    "path", ["M1 2L3 4", "M0 0L600 200", "M1 1", "M1 1L2 2M3 3L4 4"]
)
def test_lines_in_the_box_are_ink(path):
    assert is_signature_path(path)


@pytest.mark.parametrize(
    "path",
    [
        "",
        "L1 2",
        "M1 2L3",
        "M601 0",
        "M0 201",
        "M1 2 L3 4",
        "M1.5 2",
        "M-1 2",
        "M1 2Z",
        'M1 2"/><script>',
        "M1 2\n",
        "M١ 2",
        "M1 2" + "L1 2" * (MAX_SIGNATURE_LENGTH // 4),
    ],
)
def test_anything_else_is_not(path):
    assert not is_signature_path(path)
