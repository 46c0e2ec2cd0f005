"""Who asks, and how long they wait once they asked too often."""

from datetime import UTC, datetime, timedelta

import pytest

from shopdesk.staff.rate_limit import RateLimit, address_of, seconds_until_allowed

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
def test_whose_request_it_is(remote, forwarded, proxies, address):
    assert address_of(remote, forwarded=forwarded, proxies=proxies) == address


@pytest.mark.parametrize(("ago", "left"), [(0, 60), (59.5, 1), (20, 40)])
def test_one_request_too_many_waits_until_the_window_ends(db, ago, left):
    start = NOW - timedelta(seconds=ago)
    limit = RateLimit(2)
    assert [seconds_until_allowed("key", limit, at=start) for _ in range(2)] == [0, 0]
    assert seconds_until_allowed("key", limit, at=NOW) == left
    assert seconds_until_allowed("key", limit, at=NOW) == left
    assert seconds_until_allowed("other key", limit, at=NOW) == 0


@pytest.mark.parametrize("ago", [60, 600])
def test_a_new_window_begins_after_the_old_one(db, ago):
    start, limit = NOW - timedelta(seconds=ago), RateLimit(1)
    for _ in range(3):
        seconds_until_allowed("key", limit, at=start)
    assert seconds_until_allowed("key", limit, at=NOW) == 0
