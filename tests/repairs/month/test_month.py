"""The monthly report: rates, forecast, costs and news."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.urls import reverse

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import Scope
from repairs.jobs import states
from repairs.jobs.models import Repair
from repairs.month import months, news
from repairs.month import report as monthly_report
from repairs.month.report import month_report
from repairs.stock.models import Supplier
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db
MONTH = "/comebacks/month/"
NOW = date(2026, 8, 31)
SIGN_IN = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to("2026-09-15 09:00")


def report(as_of=NOW, within=90):
    return month_report(Scope(as_of=as_of, within=within), shop=Shop.current())


def page_text(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def pair(**facts):
    fault = make.fault(**facts)
    return fault, make.fix(fault)


def monthly(of, *, month, held, back=0, after=20):
    """Repairs handed over on the days of a month; `back` of them came back."""
    for n in range(held + back):
        on = date(2026, month, 1) + timedelta(days=n % 28)
        came = on + timedelta(days=after) if n < back else None
        make.past_repair(*of, on=on, back_on=came)


def rows(shown):
    return {row.name: row for row in shown.months.rows}


def test_a_month_is_complete_after_the_follow_up_of_its_last_day():
    of = pair()
    monthly(of, month=5, held=3)
    last = date(2026, 5, 31) + timedelta(days=90)
    assert rows(report(last))["May 2026"].is_complete
    early = rows(report(last - timedelta(days=1)))["May 2026"]
    assert (early.is_complete, early.status) == (False, months.INCOMPLETE)


def test_a_repair_counts_in_its_month_of_handover():
    of = pair()
    monthly(of, month=4, held=4, back=2, after=70)
    shown = rows(report())
    assert (shown["Apr 2026"].repairs, shown["Apr 2026"].comebacks) == (6, 2)
    assert shown["Jun 2026"].repairs == shown["Jul 2026"].repairs == 0


def test_the_months_have_no_gap_and_are_24_at_most():
    of = pair()
    make.past_repair(*of, on=date(2020, 1, 5))
    make.past_repair(*of, on=date(2026, 8, 5))
    shown = report().months.rows
    assert [shown[0].name, shown[-1].name, len(shown)] == ["Sep 2024", "Aug 2026", 24]
    assert sum(row.repairs for row in shown) == 1


def test_a_month_above_its_normal_range_is_news():
    of = pair()
    for month in (1, 2, 3, 4):
        monthly(of, month=month, held=38, back=1)
    monthly(of, month=5, held=10, back=10)
    shown = report()
    may = rows(shown)["May 2026"]
    assert may.status == months.ABOVE
    assert {rows(shown)[f"{m} 2026"].status for m in ("Jan", "Apr")} == {months.WITHIN}
    share = 14 / 176
    error = 3 * np.sqrt(share * (1 - share) / 20)
    assert shown.months.centre == pytest.approx(share)
    assert may.high == pytest.approx(share + error)
    [item] = [item for item in shown.news if item.label == months.ABOVE]
    assert "10 of 20 repairs came back (50 %)" in item.sentence
    assert item.url.startswith(reverse("month:handed_over", args=[2026, 5]))
    later = report(date(2026, 9, 15))
    assert not [item for item in later.news if item.label == months.ABOVE]


def test_one_complete_month_has_no_normal_range():
    of = pair()
    monthly(of, month=3, held=5, back=5)
    shown = report(date(2026, 7, 5))
    assert shown.months.centre is None
    assert rows(shown)["Mar 2026"].status == months.COMPLETE


def test_the_triangle_shows_days_to_comeback_and_open_cells():
    of = pair()
    monthly(of, month=5, held=4, back=2, after=45)
    monthly(of, month=7, held=5, back=1, after=10)
    shown = report()
    assert shown.triangle.headings == ["0–30", "31–60", "61–90"]
    by = {row.name: cells for row, cells in shown.triangle.rows}
    assert [cell.count for cell in by["May 2026"]] == [0, 2, 0]
    assert by["May 2026"][1].rate == pytest.approx(2 / 6)
    assert all(cell.is_complete for cell in by["May 2026"])
    july = by["Jul 2026"]
    assert [(c.count, c.has_begun, c.is_complete) for c in july] == [
        (1, True, True),
        (0, True, False),
        (0, True, False),
    ]
    august = by["Aug 2026"]
    assert [c.has_begun for c in august] == [True, False, False]


def test_the_triangle_covers_the_period_and_every_comeback():
    of = pair()
    make.past_repair(*of, on=date(2026, 1, 5), back_on=date(2026, 1, 5))
    for within, heads in ((20, 1), (100, 4), (730, 5)):
        shown = report(within=within)
        assert len(shown.triangle.headings) == heads
        assert shown.triangle.headings[-1].endswith(f"–{within}")
        counts = [cell.count for _, cells in shown.triangle.rows for cell in cells]
        assert sum(counts) == 1


def test_only_open_repairs_are_in_the_forecast():
    of = pair()
    monthly(of, month=4, held=12, back=8, after=20)
    assert report(date(2026, 8, 20)).forecast.in_follow_up == 0
    for n in range(10):
        make.past_repair(*of, on=NOW - timedelta(days=n))
    sold_on = make.device(out_of_use_on=NOW)
    make.past_repair(*of, on=NOW - timedelta(days=3), of=sold_on)
    shown = report().forecast
    assert shown.in_follow_up == 10
    assert 1 < shown.expected < 6
    assert shown.low <= shown.expected <= shown.high
    assert report(within=5).forecast.in_follow_up == 5


def test_without_any_comeback_some_are_expected():
    of = pair()
    for n in range(10):
        make.past_repair(*of, on=NOW - timedelta(days=n))
    shown = report()
    assert 0 < shown.forecast.expected < 5
    assert shown.forecast.low == 0


def test_the_last_forecast_is_compared_with_the_actual_number():
    of = pair()
    monthly(of, month=6, held=20, back=5, after=30)
    for n in range(6):
        on = date(2026, 7, 20)
        back = date(2026, 8, 10 + n) if n < 4 else None
        make.past_repair(*of, on=on, back_on=back)
    shown = report()
    assert (shown.forecast_before.days, shown.actual) == (31, 4)
    assert shown.forecast_before.in_follow_up == 26


def test_comebacks_cost_in_their_month_of_handover():
    of, other = pair(), pair()
    for month, amount in ((7, "40.10"), (8, "60.20")):
        repair = make.past_repair(
            *of, on=date(2026, 5, 1), back_on=date(2026, month, 2)
        )
        make.redone(repair, amount, on=date(2026, month, 9))
    make.past_repair(*other, on=date(2026, 8, 3), back_on=date(2026, 8, 20))
    shown = report()
    assert (shown.costs.cost, shown.costs.comebacks) == (Decimal("60.2000"), 1)
    assert shown.costs_before.cost == Decimal("40.1000")
    assert shown.costs.in_shop == 1
    assert [row.fault_id for row in shown.costs.by_cost] == [of[0].pk]


def test_the_allowance_needed_is_that_of_the_table_for_each_repair():
    of = pair()
    repair = make.past_repair(*of, on=date(2026, 5, 1), back_on=date(2026, 5, 9))
    make.redone(repair, "100", on=date(2026, 5, 12))
    for n in range(3):
        make.past_repair(*of, on=date(2026, 8, 3 + n))
    scope = Scope(as_of=NOW, within=90)
    [row] = comeback_report(scope, shop=Shop.current()).rows
    [due] = report().costs.by_allowance
    assert (due.repairs, due.allowance) == (3, 3 * row.comeback_allowance)


def test_new_too_many_comebacks_are_news_once():
    fault, fix = of = pair(code="PWR-TEST")
    good = pair()
    for n in range(30):
        make.past_repair(*good, on=date(2026, 2, 1) + timedelta(days=n))
    for n in range(10):
        on = date(2026, 6, 10) + timedelta(days=n)
        make.past_repair(*of, on=on, back_on=date(2026, 8, 5) if n < 8 else None)
    shown = report()
    [item] = [item for item in shown.news if item.about.startswith("PWR-TEST")]
    assert item.label == "performs like a stopgap"
    assert "now has too many comebacks" in item.sentence
    assert "8 of 10 repairs came back" in item.sentence
    assert "recorded as lasting and performs like a stopgap" in item.sentence
    address = reverse("knowledge:pair", args=[fault.pk, fix.pk])
    assert item.url == f"{address}?as_of={NOW}&within=90"
    later = report(date(2026, 9, 15))
    assert not [item for item in later.news if item.about.startswith("PWR-TEST")]


def test_no_longer_too_many_comebacks_is_news():
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
            assessment=states.NEW_FAULT,
            on=date(2026, 8, 3),
        )
    [item] = report().news
    assert item.sentence.startswith(
        "no longer clearly has too many comebacks: 1 of 8 repairs came back"
    )


def test_a_reliable_stopgap_is_news_once():
    fault, fix = of = pair(code="PWR-TEST")
    good = pair()
    for n in range(20):
        back = date(2026, 4, 20) if n < 2 else None
        make.past_repair(*good, on=date(2026, 2, 1) + timedelta(days=n), back_on=back)
    for n in range(30):
        on = date(2026, 4, 1) + timedelta(days=n)
        make.past_repair(*of, on=on, fix_type="stopgap")
    shown = [
        item
        for month in range(4, 9)
        for as_of in [date(2026, month, 30)]
        for item in report(as_of).news
        if item.about.startswith("PWR-TEST")
    ]
    [item] = shown
    assert item.label == "lasts better than recorded"
    assert "is recorded as a stopgap but is reliable: 0 of 30 repairs came back" in (
        item.sentence
    )
    address = reverse("knowledge:pair", args=[fault.pk, fix.pk])
    assert item.url.startswith(f"{address}?as_of=2026-")


def news_of_pair(now, before):
    """The news of one pair, from its row now and before."""

    class Report:
        scope = Scope(as_of=NOW, within=90)

        def __init__(self, row):
            self.rows = [row] if row else []

    return news.news_of_pairs(Report(now), before=Report(before))


def row_of(verdict, fix_type, comebacks=3):
    figures = dict.fromkeys(
        ("expected_comebacks", "risk", "risk_low", "risk_high")
        + ("own_risk", "own_low", "own_high"),
        0.1,
    )
    return Row(
        number=0,
        fault_id=1,
        fix_id=2,
        fault_name="",
        fix_name="",
        fault="F",
        fix="X",
        fix_type=fix_type,
        repairs=9,
        followed_up=9,
        comebacks=comebacks,
        probability_above_limit=0.5,
        verdict=verdict,
        mean_rework_cost=Decimal(1),
        comeback_allowance=Decimal(1),
        **figures,
    )


BACK, RELIABLE, BORDERLINE = "too many comebacks", "reliable", "borderline"


@pytest.mark.parametrize(
    ("was", "now", "piece"),
    [
        (None, (BACK, "lasting"), "now has too many comebacks (new): 3 of 9"),
        ((BORDERLINE, "stopgap"), (BACK, "stopgap"), "(before: “borderline”): 3 of 9"),
        ((BACK, "stopgap"), (BACK, "lasting"), "is now mostly recorded as lasting"),
        (
            (BACK, "lasting"),
            (BORDERLINE, "lasting"),
            "no longer clearly has too many comebacks",
        ),
        ((BORDERLINE, "stopgap"), (RELIABLE, "stopgap"), "a stopgap but is reliable"),
        ((RELIABLE, "lasting"), (RELIABLE, "stopgap"), "a stopgap but is reliable"),
        (
            (RELIABLE, "stopgap"),
            (BORDERLINE, "stopgap"),
            "no longer clearly lasts better",
        ),
        ((RELIABLE, "stopgap"), (BACK, "stopgap"), "(before: “reliable”): 3 of 9"),
        ((BACK, "lasting"), (BACK, "lasting"), None),
        ((BACK, "lasting"), (BACK, "stopgap"), None),
        ((RELIABLE, "stopgap"), (RELIABLE, "stopgap"), None),
        ((RELIABLE, "stopgap"), (RELIABLE, "lasting"), None),
        ((BORDERLINE, "lasting"), (RELIABLE, "lasting"), None),
        (None, (BORDERLINE, "stopgap"), None),
    ],
)
def test_each_change_of_a_pair_is_news_once(was, now, piece):
    shown = news_of_pair(row_of(*now), row_of(*was) if was else None)
    assert [piece in one.sentence for one in shown] == ([True] if piece else [])


def test_a_delivery_that_became_bad_is_news():
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
    shown = report()
    [item] = [item for item in shown.news if item.label == "too many comebacks"]
    assert item.about == "Delivery B2 of JCK-1"
    assert item.sentence.startswith(
        "now has too many comebacks: 8 of 12 repairs came back"
    )
    assert item.url.startswith(reverse("month:delivery", args=[bad.pk]))
    assert [group.name for group, _ in shown.suspects] == ["B2 of JCK-1"]
    assert not report(date(2026, 7, 31)).suspects


def test_higher_costs_are_news_and_small_changes_are_not():
    of = pair()
    for month, amounts in ((7, ("50", "50")), (8, ("60", "60", "60", "60"))):
        for amount in amounts:
            repair = make.past_repair(
                *of, on=date(2026, 5, 1), back_on=date(2026, month, 2)
            )
            make.redone(repair, amount, on=date(2026, month, 9))
    [item] = [item for item in report().news if item.label == news.HIGHER_COST]
    assert "140.00 more than in the previous month" in item.sentence
    assert "(4 handed over, 2 before)" in item.sentence
    assert item.url.endswith("#costs")
    # In September nothing was handed over yet: half a month is not cheaper than August.
    september = report(date(2026, 9, 15))
    assert not [item for item in september.news if item.url.startswith(MONTH)]


def test_no_changes_are_reported_in_one_sentence(owner):
    monthly(pair(), month=3, held=5)
    text = page_text(owner.get(MONTH, {"as_of": NOW}))
    assert "No changes since 31 Jul 2026." in text


def test_later_events_do_not_change_a_past_date():
    of = pair()
    monthly(of, month=3, held=10, back=2)
    monthly(of, month=6, held=8, back=1)
    before = report(date(2026, 7, 31))
    monthly(of, month=8, held=4, back=4, after=9)
    make.comeback(Repair.objects.order_by("id").last(), on=date(2026, 9, 2))
    assert report(date(2026, 7, 31)) == before


def test_an_empty_shop_has_a_monthly_report(owner):
    text = page_text(owner.get(MONTH))
    assert "there is nothing to report yet" in text
    assert "<svg" not in text.split("<main", 1)[1]
    assert "0 repairs" not in text


def test_without_open_repairs_no_comebacks_are_expected(owner):
    make.past_repair(*pair(), on=date(2026, 1, 5))
    text = page_text(owner.get(MONTH))
    assert "No repairs are in follow-up (90 days)" in text
    assert "No changes since" in text


def test_the_chart_gives_its_figures_to_mouse_and_keyboard(owner):
    of = pair()
    for month in (1, 2, 3):
        monthly(of, month=month, held=18, back=2)
    monthly(of, month=8, held=4)
    text = page_text(owner.get(MONTH, {"as_of": NOW}))
    figures = (
        "Jan 2026: 2 of 20 came back, 10 %, normal range 0–30 %: within normal range"
    )
    assert f'tabindex="0" role="img" aria-label="{figures}"' in text
    assert f"<title>{figures}</title>" in text
    assert "Aug 2026: 0 of 4 came back so far" in text
    assert text.count('<circle class="dot"') == 3
    assert text.count('<circle class="line open"') == 1


def test_each_month_links_to_its_repairs(owner):
    of = pair()
    monthly(of, month=3, held=3, back=2)
    assert "/comebacks/month/2026/3/?as_of=2026-08-31" in page_text(
        owner.get(MONTH, {"as_of": NOW})
    )
    text = page_text(owner.get("/comebacks/month/2026/3/", {"as_of": NOW}))
    assert "2 of 5 repairs came back within 90 days" in text
    for repair in of[1].repairs.all():
        assert repair.job.get_absolute_url() in text


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
def test_an_unknown_record_is_a_404(owner, address):
    assert owner.get(address).status_code == 404


@pytest.mark.parametrize("address", [MONTH, "/comebacks/deliveries/"])
@pytest.mark.parametrize(
    ("params", "sentence"),
    [
        ({"as_of": "yesterday"}, "Enter the date as year-month-day"),
        ({"as_of": "2048-01-01"}, "This date is in the future."),
        ({"as_of": "9999-12-31"}, "Enter a date between 1990-01-01 and today."),
        ({"within": "0"}, "Enter at least 1 day"),
        ({"within": "9" * 5000}, "whole number"),
    ],
)
def test_invalid_input_is_reported_and_stays_in_the_field(
    owner, address, params, sentence
):
    answer = owner.get(address, params)
    text = page_text(answer)
    assert sentence in text
    assert "month" not in answer.context
    [typed] = params.values()
    assert f'value="{typed}"' in text


@pytest.mark.parametrize("as_of", ["1990-01-01", "2026-02-28", "2024-02-29"])
def test_any_past_date_can_be_chosen(owner, as_of):
    monthly(pair(), month=3, held=2)
    for within in (1, 90, 730):
        page_text(owner.get(MONTH, {"as_of": as_of, "within": within}))


def test_only_the_owner_opens_the_month(client):
    address = [MONTH, "/comebacks/month/2026/3/", "/comebacks/deliveries/"]
    for one in address:
        assert client.get(one).status_code == 302
    for kind in (Role.COUNTER, Role.BENCH):
        client.force_login(make.user(kind), SIGN_IN)
        for one in address:
            assert client.get(one).status_code == 403


def test_an_unchanged_month_is_not_calculated_again(owner):
    of = pair()
    monthly(of, month=3, held=5, back=1)
    first = owner.get(MONTH, {"as_of": NOW}).context["month"]

    def refuse(*args, **facts):
        raise AssertionError("calculated again")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(monthly_report, "_calculate", refuse)
        assert owner.get(MONTH, {"as_of": NOW}).context["month"] == first
    monthly(of, month=8, held=1)
    assert owner.get(MONTH, {"as_of": NOW}).context["month"].forecast.in_follow_up == 1


def test_more_repairs_need_no_more_queries(owner, django_assert_max_num_queries):
    counts = []
    for many in (1, 29):
        for _ in range(many):
            monthly(pair(), month=3, held=2, back=1)
            monthly(pair(), month=8, held=1, back=1, after=3)
        with django_assert_max_num_queries(70) as queries:
            page_text(owner.get(MONTH, {"as_of": NOW}))
        counts.append(len(queries))
    assert counts[0] == counts[1]
