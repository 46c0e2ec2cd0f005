from datetime import UTC, datetime, timedelta

import pytest

from billing.customer_page.forms import MAX_SIGNATURE_LENGTH, is_signature_path
from billing.customer_page.knocks import Limit, address_of, seconds_left

NOW = datetime(2026, 3, 5, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("remote", "forwarded", "proxies", "address"),
    [
        ("203.0.113.7", "", 0, "203.0.113.7"),
        ("203.0.113.7", "198.51.100.1", 0, "203.0.113.7"),
        ("10.0.0.1", "198.51.100.1", 1, "198.51.100.1"),
        ("10.0.0.1", "6.6.6.6, 198.51.100.1", 1, "198.51.100.1"),
        ("10.0.0.1", "6.6.6.6, 198.51.100.1, 10.0.0.2", 2, "198.51.100.1"),
        ("10.0.0.1", "", 1, "10.0.0.1"),
        ("10.0.0.1", "198.51.100.1", 2, "10.0.0.1"),
        ("10.0.0.1", "nonsense", 1, ""),
        ("", "", 0, ""),
        ("2001:db8:1:2:3:4:5:6", "", 0, "2001:db8:1:2::/64"),
        ("2001:db8:1:2:ffff::1", "", 0, "2001:db8:1:2::/64"),
        ("::ffff:203.0.113.7", "", 0, "203.0.113.7"),
    ],
)
def test_whose_knock_it_is(remote, forwarded, proxies, address):
    assert address_of(remote, forwarded=forwarded, proxies=proxies) == address


@pytest.mark.parametrize(("ago", "left"), [(0, 60), (59.5, 1), (60, 1), (600, 1)])
def test_there_is_always_a_second_to_wait(ago, left):
    since = NOW - timedelta(seconds=ago)
    assert seconds_left(since=since, at=NOW, limit=Limit(5)) == left


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
