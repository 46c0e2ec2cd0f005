"""A clock that jumps: everybody is warned, and no series is spoilt."""

from datetime import UTC, date, datetime, timedelta

import pytest

from shopdesk.shop import clock, numbering
from shopdesk.shop.clock import Look
from shopdesk.shop.models import Series, Shop
from shopdesk.staff.models import Role
from tests import make

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
DAY = timedelta(days=1)
MARCH = date(2026, 3, 2)
watch = clock.watch  # before the fixture of all tests puts nothing in its place


@pytest.fixture
def counter(monkeypatch):
    """The counter of seconds that no clock changes; it stands still unless set."""
    seconds = [1000.0]
    monkeypatch.setattr(clock, "monotonic", lambda: seconds[0])
    return seconds


def looked(now, *, shop=None, look=None):
    watch(shop or Shop.current(), look or Look(), now=now)
    return Shop.current()


@pytest.mark.django_db
def test_use_is_noted_every_five_minutes(counter, django_assert_num_queries):
    make.shop()
    look, shop = Look(), Shop.current()
    looked(NOW, shop=shop, look=look)
    counter[0] += 200
    with django_assert_num_queries(0):
        watch(shop, look, now=NOW + timedelta(seconds=200))
    counter[0] += 200
    later = NOW + timedelta(seconds=400)
    assert looked(later, shop=shop, look=look).clock_seen_at == later
    assert Shop.current().clock_doubted_since is None


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("jump", "is_doubted"),
    [
        (-2 * DAY, True),
        (-DAY / 2, False),  # a time zone, set right
        (30 * DAY, False),  # the shop was closed
        (61 * DAY, True),
        (3650 * DAY, True),
        (timedelta(days=-20_000), True),  # 1971: the battery of the clock is empty
    ],
)
def test_a_jump_while_the_server_was_off_is_noticed(counter, jump, is_doubted):
    make.shop()
    looked(NOW)
    shop = looked(NOW + jump)
    assert (shop.clock_doubted_since is not None) == is_doubted
    if is_doubted:
        assert shop.clock_doubted_since == NOW
        assert looked(NOW + DAY / 24).clock_doubted_since is None  # it was set right


@pytest.mark.django_db
def test_a_leap_ahead_while_it_runs_is_noticed_though_a_pause_would_not_be(counter):
    make.shop()
    look = Look()
    looked(NOW, look=look)
    counter[0] += 60
    assert looked(NOW + 3 * DAY, look=look).clock_doubted_since == NOW


@pytest.mark.django_db
def test_a_leap_ahead_stays_doubted_until_the_clock_is_put_right(counter):
    make.shop()
    look, other = Look(), Look()
    looked(NOW, look=look)
    looked(NOW, look=other)
    for process, hours in ((look, 1), (look, 2), (other, 3)):
        counter[0] += 3600
        shop = looked(NOW + 3 * DAY + timedelta(hours=hours), look=process)
        assert shop.clock_doubted_since == NOW
    counter[0] += 3600
    assert looked(NOW + timedelta(hours=4), look=look).clock_doubted_since is None


@pytest.mark.django_db
def test_a_clock_that_was_behind_is_right_as_soon_as_it_is_put_right(counter):
    make.shop()
    look = Look()
    looked(NOW, look=look)
    counter[0] += 60
    assert looked(NOW - 2 * DAY, look=look).clock_doubted_since == NOW
    counter[0] += 60
    shop = looked(NOW + timedelta(minutes=2), look=look)
    assert shop.clock_doubted_since is None


@pytest.mark.django_db
def test_in_doubt_no_series_starts_and_the_owner_can_confirm(client, counter):
    make.shop()
    assert numbering.give("INV26", kind="invoice", on=MARCH) == 1
    looked(NOW)
    looked(NOW - 400 * DAY)
    with pytest.raises(numbering.DateOrderError, match="INV25 would be a new series"):
        numbering.give("INV25", kind="invoice", on=date(2025, 1, 26))
    assert not Series.objects.filter(name="INV25").exists()
    for role, may in ((Role.COUNTER, False), (Role.OWNER, True)):
        client.force_login(make.user(role))
        page = client.get("/").text
        assert "The date of the server may be wrong" in page
        assert "last used on 2 Mar 2026" in page
        assert ("The date is right" in page) == may
    assert client.post("/shop/clock/").status_code == 302
    assert "may be wrong" not in client.get("/").text
    assert numbering.give("INV25", kind="invoice", on=date(2025, 1, 26)) == 1


@pytest.mark.django_db
def test_no_number_is_dated_before_the_last_of_its_series():
    for on in (MARCH, MARCH, MARCH + DAY):
        numbering.give("INV26", kind="invoice", on=on)
    with pytest.raises(numbering.DateOrderError) as refused:
        numbering.give("INV26", kind="invoice", on=MARCH)
    assert "dated 3 March 2026" in str(refused.value)
    assert "dated 2 March 2026" in str(refused.value)
    assert Series.objects.get(name="INV26").last == 3
    # A series of another year, entered with a wrong clock, does not stop this one.
    numbering.give("INV27", kind="invoice", on=date(2027, 3, 3))
    assert numbering.give("INV26", kind="invoice", on=MARCH + DAY) == 4
