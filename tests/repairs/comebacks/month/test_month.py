"""The owner reads the month: how it stands, what is to come, what it cost, and news."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.urls import reverse

from repairs.comebacks.month import changes, months
from repairs.comebacks.month.queries import month_context
from repairs.comebacks.rows import Pair, Row
from repairs.jobs import states
from repairs.jobs.models import Repair
from repairs.stock.models import Supplier
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Kind
from tests import make

pytestmark = pytest.mark.django_db
MONTH = "/comebacks/month/"
NOW = date(2026, 8, 31)
SIGN_IN = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to("2026-09-15 09:00")


def report(as_of=NOW, within=90):
    shop = Shop.current()
    return month_context(as_of=as_of, within=within, shop=shop)["month"]


def words(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def pair(**facts):
    fault = make.fault(**facts)
    return fault, make.fix(fault)


def monthly(of, *, month, held, back=0, after=20):
    """Repairs handed back on the days of a month, and how many of them came back."""
    for n in range(held + back):
        on = date(2026, month, 1) + timedelta(days=n % 28)
        came = on + timedelta(days=after) if n < back else None
        make.past_repair(*of, on=on, back_on=came)


def rows(told):
    return {row.said: row for row in told.months}


def test_a_month_is_complete_once_its_last_day_was_watched_to_the_end():
    of = pair()
    monthly(of, month=5, held=3)
    last = date(2026, 5, 31) + timedelta(days=90)
    assert rows(report(last))["May 2026"].is_complete
    early = rows(report(last - timedelta(days=1)))["May 2026"]
    assert (early.is_complete, early.word) == (False, months.INCOMPLETE)


def test_a_month_is_counted_by_the_day_of_handing_back_not_of_coming_back():
    of = pair()
    monthly(of, month=4, held=4, back=2, after=70)
    told = rows(report())
    assert (told["Apr 2026"].repairs, told["Apr 2026"].returned) == (6, 2)
    assert told["Jun 2026"].repairs == told["Jul 2026"].repairs == 0


def test_the_months_run_on_without_a_gap_and_are_two_years_at_most():
    of = pair()
    make.past_repair(*of, on=date(2020, 1, 5))
    make.past_repair(*of, on=date(2026, 8, 5))
    told = report().months
    assert [told[0].said, told[-1].said, len(told)] == ["Sep 2024", "Aug 2026", 24]
    assert sum(row.repairs for row in told) == 1


def test_a_month_that_returns_too_much_is_above_its_own_limits_and_is_news():
    of = pair()
    for month in (1, 2, 3, 4):
        monthly(of, month=month, held=38, back=1)
    monthly(of, month=5, held=10, back=10)
    told = report()
    may = rows(told)["May 2026"]
    assert may.word == months.ABOVE
    assert {rows(told)[f"{m} 2026"].word for m in ("Jan", "Apr")} == {months.WITHIN}
    share = 14 / 176
    error = 3 * np.sqrt(share * (1 - share) / 20)
    assert told.of_months.centre == pytest.approx(share)
    assert may.high == pytest.approx(share + error)
    [news] = [one for one in told.changes if one.word == months.ABOVE]
    assert "10 of 20 repairs came back (50 %)" in news.sentence
    assert news.evidence.startswith(reverse("comebacks:handed_back", args=[2026, 5]))
    later = report(date(2026, 9, 15))
    assert not [one for one in later.changes if one.word == months.ABOVE]


def test_one_complete_month_has_no_limits_to_be_outside_of():
    of = pair()
    monthly(of, month=3, held=5, back=5)
    told = report(date(2026, 7, 5))
    assert told.of_months.centre is None
    assert rows(told)["Mar 2026"].word == months.ALONE


def test_the_triangle_says_how_long_after_and_what_was_not_seen_yet():
    of = pair()
    monthly(of, month=5, held=4, back=2, after=45)
    monthly(of, month=7, held=5, back=1, after=10)
    told = report()
    assert told.triangle.heads == ["0–30", "31–60", "61–90"]
    by = {row.said: row.cells for row in told.triangle.rows}
    assert [cell.count for cell in by["May 2026"]] == [0, 2, 0]
    assert by["May 2026"][1].share == pytest.approx(2 / 6)
    assert all(cell.is_seen for cell in by["May 2026"])
    july = by["Jul 2026"]
    assert [(c.count, c.is_begun, c.is_seen) for c in july] == [
        (1, True, True),
        (0, True, False),
        (0, True, False),
    ]
    august = by["Aug 2026"]
    assert [c.is_begun for c in august] == [True, False, False]


def test_the_steps_of_the_triangle_reach_to_the_horizon_and_hold_every_comeback():
    of = pair()
    make.past_repair(*of, on=date(2026, 1, 5), back_on=date(2026, 1, 5))
    for within, heads in ((20, 1), (100, 4), (730, 5)):
        told = report(within=within)
        assert len(told.triangle.heads) == heads
        assert told.triangle.heads[-1].endswith(f"–{within}")
        counts = [cell.count for row in told.triangle.rows for cell in row.cells]
        assert sum(counts) == 1


def test_what_is_expected_is_only_of_those_still_watched():
    of = pair()
    monthly(of, month=4, held=12, back=8, after=20)
    assert report(date(2026, 8, 20)).coming.watched == 0
    for n in range(10):
        make.past_repair(*of, on=NOW - timedelta(days=n))
    sold_on = make.device(out_of_use_on=NOW)
    make.past_repair(*of, on=NOW - timedelta(days=3), of=sold_on)
    told = report().coming
    assert told.watched == 10
    assert 1 < told.expected < 6
    assert told.low <= told.expected <= told.high
    assert report(within=5).coming.watched == 5


def test_no_comeback_ever_still_leaves_something_to_be_expected():
    of = pair()
    for n in range(10):
        make.past_repair(*of, on=NOW - timedelta(days=n))
    told = report()
    assert 0 < told.coming.expected < 5
    assert told.coming.low == 0


def test_the_last_forecast_is_set_against_what_came():
    of = pair()
    monthly(of, month=6, held=20, back=5, after=30)
    for n in range(6):
        on = date(2026, 7, 20)
        back = date(2026, 8, 10 + n) if n < 4 else None
        make.past_repair(*of, on=on, back_on=back)
    told = report()
    assert (told.foretold.days, told.came) == (31, 4)
    assert told.foretold.watched == 26


def test_comebacks_cost_in_the_month_they_are_handed_back_in():
    of, other = pair(), pair()
    for month, amount in ((7, "40.10"), (8, "60.20")):
        repair = make.past_repair(
            *of, on=date(2026, 5, 1), back_on=date(2026, month, 2)
        )
        make.redone(repair, amount, on=date(2026, month, 9))
    make.past_repair(*other, on=date(2026, 8, 3), back_on=date(2026, 8, 20))
    told = report()
    assert (told.money.cost, told.money.comebacks) == (Decimal("60.2000"), 1)
    assert told.money_before.cost == Decimal("40.1000")
    assert told.money.still_here == 1
    assert [row.pair.fault_id for row in told.money.dear] == [of[0].pk]


def test_what_should_be_laid_by_is_the_tables_reserve_for_each_repair():
    of = pair()
    repair = make.past_repair(*of, on=date(2026, 5, 1), back_on=date(2026, 5, 9))
    make.redone(repair, "100", on=date(2026, 5, 12))
    for n in range(3):
        make.past_repair(*of, on=date(2026, 8, 3 + n))
    from repairs.comebacks.queries import comeback_record

    [row] = comeback_record(as_of=NOW, within=90, shop=Shop.current()).rows
    [due] = report().money.due
    assert (due.repairs, due.reserve) == (3, 3 * row.reserve)


def test_a_pair_that_came_to_come_back_is_told_once_with_its_evidence():
    fault, fix = of = pair(code="PWR-TEST")
    good = pair()
    for n in range(30):
        make.past_repair(*good, on=date(2026, 2, 1) + timedelta(days=n))
    for n in range(10):
        on = date(2026, 6, 10) + timedelta(days=n)
        make.past_repair(*of, on=on, back_on=date(2026, 8, 5) if n < 8 else None)
    told = report()
    [news] = [one for one in told.changes if one.about.startswith("PWR-TEST")]
    assert news.word == "acts as a stopgap"
    assert "now comes back" in news.sentence
    assert "8 of 10 came back so far" in news.sentence
    assert "was declared lasting and acts as a stopgap" in news.sentence
    address = reverse("comebacks:pair", args=[fault.pk, fix.pk])
    assert news.evidence == f"{address}?as_of={NOW}&within=90"
    later = report(date(2026, 9, 15))
    assert not [one for one in later.changes if one.about.startswith("PWR-TEST")]


def test_a_pair_that_is_no_longer_sure_to_come_back_is_told():
    of = pair()
    made = []
    for n in range(8):
        on = date(2026, 5, 1) + timedelta(days=n)
        made.append(make.past_repair(*of, on=on, back_on=date(2026, 6, 5)))
    good = pair()
    for n in range(30):
        make.past_repair(*good, on=date(2026, 2, 1) + timedelta(days=n))
    for repair in made[:7]:
        make.decision(
            repair.later_assessments.get().job,
            repair,
            what=states.NEW_FAULT,
            on=date(2026, 8, 3),
        )
    [news] = report().changes
    assert "is no longer sure to come back: 1 of 8 came back so far" in news.sentence


def test_a_stopgap_that_holds_is_told_once_with_its_evidence():
    fault, fix = of = pair(code="PWR-TEST")
    good = pair()
    for n in range(20):
        back = date(2026, 4, 20) if n < 2 else None
        make.past_repair(*good, on=date(2026, 2, 1) + timedelta(days=n), back_on=back)
    for n in range(30):
        on = date(2026, 4, 1) + timedelta(days=n)
        make.past_repair(*of, on=on, declared="stopgap")
    told = [
        one
        for month in range(4, 9)
        for as_of in [date(2026, month, 30)]
        for one in report(as_of).changes
        if one.about.startswith("PWR-TEST")
    ]
    [news] = told
    assert news.word == "better than declared"
    assert "is declared a stopgap and yet holds: 0 of 30 came back so far" in (
        news.sentence
    )
    address = reverse("comebacks:pair", args=[fault.pk, fix.pk])
    assert news.evidence.startswith(f"{address}?as_of=2026-")


def rows_told(now, before):
    """What is told of one pair, whose row is now this and was that."""

    class Told:
        def __init__(self, row):
            self.rows = [row] if row else []

    return changes.of_pairs(Told(now), before=Told(before))


def row_of(verdict, declared, returned=3):
    figures = dict.fromkeys(
        ("expected", "risk", "low", "high", "alone", "alone_low", "alone_high"), 0.1
    )
    return Row(
        pair=Pair(1, 2, "", ""),
        fault="F",
        fix="X",
        declared=declared,
        repairs=9,
        judged=9,
        returned=returned,
        chance_over_limit=0.5,
        verdict=verdict,
        mean_redo_cost=Decimal(1),
        reserve=Decimal(1),
        **figures,
    )


BACK, HOLDS, BETWEEN = "comes back", "holds", "between"


@pytest.mark.parametrize(
    ("was", "now", "piece"),
    [
        (None, (BACK, "lasting"), "now comes back (is new): 3 of 9"),
        ((BETWEEN, "stopgap"), (BACK, "stopgap"), "now comes back (was “between”)"),
        ((BACK, "stopgap"), (BACK, "lasting"), "is mostly declared lasting now"),
        ((BACK, "lasting"), (BETWEEN, "lasting"), "no longer sure to come back"),
        ((BETWEEN, "stopgap"), (HOLDS, "stopgap"), "a stopgap and yet holds"),
        ((HOLDS, "lasting"), (HOLDS, "stopgap"), "a stopgap and yet holds"),
        ((HOLDS, "stopgap"), (BETWEEN, "stopgap"), "no longer surely holds"),
        ((HOLDS, "stopgap"), (BACK, "stopgap"), "now comes back (was “holds”)"),
        ((BACK, "lasting"), (BACK, "lasting"), None),
        ((BACK, "lasting"), (BACK, "stopgap"), None),
        ((HOLDS, "stopgap"), (HOLDS, "stopgap"), None),
        ((HOLDS, "stopgap"), (HOLDS, "lasting"), None),
        ((BETWEEN, "lasting"), (HOLDS, "lasting"), None),
        (None, (BETWEEN, "stopgap"), None),
    ],
)
def test_each_change_of_a_pair_is_told_once(was, now, piece):
    told = rows_told(row_of(*now), row_of(*was) if was else None)
    assert [piece in one.sentence for one in told] == ([True] if piece else [])


def test_a_delivery_that_turned_bad_is_told():
    of = pair()
    part = make.part("JCK-1")
    supplier = Supplier.objects.create(name="Oddments")
    fine = make.delivery(part, 99, lot="A1", supplier=supplier)
    bad = make.delivery(part, 99, lot="B2", supplier=supplier)
    for n in range(60):
        on = date(2026, 2, 1) + timedelta(days=n)
        back = on + timedelta(days=30) if n % 20 == 0 else None
        repair = make.past_repair(*of, on=on, back_on=back)
        repair.parts_used.create(part=part, delivery=fine)
    for n in range(12):
        on = date(2026, 6, 10) + timedelta(days=n)
        back = date(2026, 8, 5) if n < 8 else None
        repair = make.past_repair(*of, on=on, back_on=back)
        repair.parts_used.create(part=part, delivery=bad)
    told = report()
    [news] = [one for one in told.changes if one.word == "returns too often"]
    assert news.about == "Delivery B2 of JCK-1"
    assert news.sentence.startswith("now returns too often: 8 of 12 repairs came")
    assert news.evidence.startswith(reverse("comebacks:delivery", args=[bad.pk]))
    assert [blamed.one.name for blamed in told.bad] == ["B2 of JCK-1"]
    assert not report(date(2026, 7, 31)).bad


def test_dearer_comebacks_are_told_and_small_changes_are_not():
    of = pair()
    for month, amounts in ((7, ("50", "50")), (8, ("60", "60", "60", "60"))):
        for amount in amounts:
            repair = make.past_repair(
                *of, on=date(2026, 5, 1), back_on=date(2026, month, 2)
            )
            make.redone(repair, amount, on=date(2026, month, 9))
    [news] = [one for one in report().changes if one.word == "dearer"]
    assert "140.00 more than in the whole month before" in news.sentence
    assert "(4 against 2 handed back)" in news.sentence
    assert news.evidence.endswith("#money")
    # In September nothing was handed back yet: half a month is not cheaper than August.
    september = report(date(2026, 9, 15))
    assert not [one for one in september.changes if one.word in ("dearer", "cheaper")]


def test_nothing_new_is_said_in_one_sentence(owner):
    monthly(pair(), month=3, held=5)
    said = words(owner.get(MONTH, {"as_of": NOW}))
    assert "Nothing is new since 31 Jul 2026." in said


def test_a_past_day_shows_what_was_known_then_whatever_came_later():
    of = pair()
    monthly(of, month=3, held=10, back=2)
    monthly(of, month=6, held=8, back=1)
    before = report(date(2026, 7, 31))
    monthly(of, month=8, held=4, back=4, after=9)
    make.comeback(Repair.objects.order_by("id").last(), on=date(2026, 9, 2))
    assert report(date(2026, 7, 31)) == before


def test_an_empty_shop_has_a_month_too(owner):
    said = words(owner.get(MONTH))
    assert "there is nothing to count yet" in said
    assert "<svg" not in said.split("<main", 1)[1]
    assert "0 repairs" not in said


def test_a_shop_whose_repairs_are_all_old_expects_nothing(owner):
    make.past_repair(*pair(), on=date(2026, 1, 5))
    said = words(owner.get(MONTH))
    assert "No repair is still within its 90 days" in said
    assert "Nothing is new" in said


def test_the_chart_says_its_figures_to_those_who_point_and_to_those_who_tab(owner):
    of = pair()
    for month in (1, 2, 3):
        monthly(of, month=month, held=18, back=2)
    monthly(of, month=8, held=4)
    said = words(owner.get(MONTH, {"as_of": NOW}))
    figures = "Jan 2026: 2 of 20 came back, 10 %, limits 0–30 %: within its limits"
    assert f'tabindex="0" role="img" aria-label="{figures}"' in said
    assert f"<title>{figures}</title>" in said
    assert "Aug 2026: 0 of 4 came back so far" in said
    assert said.count('<circle class="dot"') == 3
    assert said.count('<circle class="line open"') == 1


def test_each_month_opens_its_repairs(owner):
    of = pair()
    monthly(of, month=3, held=3, back=2)
    assert "/comebacks/month/2026/3/?as_of=2026-08-31" in words(
        owner.get(MONTH, {"as_of": NOW})
    )
    said = words(owner.get("/comebacks/month/2026/3/", {"as_of": NOW}))
    assert "2 of 5 repairs came back within 90 days" in said
    for repair in of[1].repairs.all():
        assert repair.job.get_absolute_url() in said


@pytest.mark.parametrize(
    "address",
    [
        "/comebacks/month/2026/13/",
        "/comebacks/month/2026/0/",
        "/comebacks/month/0/5/",
        "/comebacks/month/99999999/5/",
        "/comebacks/deliveries/999999/",
        "/comebacks/models/999999/",
        "/comebacks/boards/999999/?revision=A",
    ],
)
def test_what_is_not_there_is_not_found(owner, address):
    assert owner.get(address).status_code == 404


@pytest.mark.parametrize("address", [MONTH, "/comebacks/deliveries/"])
@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"as_of": "yesterday"}, "Write the day as year-month-day"),
        ({"as_of": "2048-01-01"}, "is still to come"),
        ({"as_of": "9999-12-31"}, "Give a day between 1990-01-01 and today."),
        ({"within": "0"}, "at least 1 day"),
        ({"within": "9" * 5000}, "whole number"),
    ],
)
def test_what_makes_no_sense_is_told_and_kept(owner, address, asked, sentence):
    answer = owner.get(address, asked)
    said = words(answer)
    assert sentence in said
    assert "month" not in answer.context
    [typed] = asked.values()
    assert f'value="{typed}"' in said


@pytest.mark.parametrize("as_of", ["1990-01-01", "2026-02-28", "2024-02-29"])
def test_any_day_can_be_asked_for(owner, as_of):
    monthly(pair(), month=3, held=2)
    for within in (1, 90, 730):
        words(owner.get(MONTH, {"as_of": as_of, "within": within}))


def test_the_month_is_the_owners_alone(client):
    address = [MONTH, "/comebacks/month/2026/3/", "/comebacks/deliveries/"]
    for one in address:
        assert client.get(one).status_code == 302
    for kind in (Kind.COUNTER, Kind.BENCH):
        client.force_login(make.user(kind), SIGN_IN)
        for one in address:
            assert client.get(one).status_code == 403


def test_a_month_unchanged_is_not_reckoned_again_and_a_change_shows_at_once(owner):
    of = pair()
    monthly(of, month=3, held=5, back=1)
    first = owner.get(MONTH, {"as_of": NOW}).context["month"]
    from repairs.comebacks.month import context

    def refuse(**asked):
        raise AssertionError("reckoned again")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(context, "month_context", refuse)
        assert owner.get(MONTH, {"as_of": NOW}).context["month"] == first
    monthly(of, month=8, held=1)
    assert owner.get(MONTH, {"as_of": NOW}).context["month"].coming.watched == 1


def test_more_repairs_ask_the_database_no_more_often(
    owner, django_assert_max_num_queries
):
    counts = []
    for many in (1, 29):
        for _ in range(many):
            monthly(pair(), month=3, held=2, back=1)
            monthly(pair(), month=8, held=1, back=1, after=3)
        with django_assert_max_num_queries(70) as asked:
            words(owner.get(MONTH, {"as_of": NOW}))
        counts.append(len(asked))
    assert counts[0] == counts[1]
