"""The monthly report of one device kind or one technician."""

import io
from datetime import date, timedelta

import pikepdf
import pytest
from django.urls import reverse

from repairs.comebacks.scope import NOT_ABOUT_PEOPLE, Scope
from repairs.customers.models import DeviceModel
from repairs.month.report import month_report
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db
MONTH = "/comebacks/month/"
NOW = date(2026, 8, 31)
DAY = {"as_of": NOW, "within": 90}


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to("2026-09-15 09:00")


@pytest.fixture(autouse=True)
def shop():
    """Laptops by Rosa come back, amplifiers by Tomas do not; one fix for both."""
    fault = make.fault(code="PWR-JACK")
    fix = make.fix(fault, code="RESOLDER")
    laptop = make.device_model("laptop", "Norwind", "Slate 14")
    amplifier = make.device_model("amplifier", "Halden", "A2")
    rosa = make.user(Role.BENCH, username="rosa", name="Rosa Quint")
    tomas = make.user(Role.BENCH, username="tomas", name="Tomas Vey")
    for month in (3, 4, 8):
        for n in range(10):
            on = date(2026, month, 1 + n)
            back = on + timedelta(days=15) if n < 4 else None
            of = make.device(model=laptop)
            make.past_repair(fault, fix, on=on, back_on=back, of=of, by=rosa)
            of = make.device(model=amplifier)
            make.past_repair(fault, fix, on=on, of=of, by=tomas)
    return fault, fix


def page_text(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def report(as_of=NOW, **only):
    params = Scope(as_of=as_of, within=90, **only)
    return month_report(params, shop=Shop.current())


@pytest.mark.parametrize(
    ("only", "counts"),
    [
        ({}, (20, 4)),
        ({"kind": "laptop"}, (10, 4)),
        ({"by": "tomas"}, (10, 0)),
        ({"kind": "laptop", "by": "tomas"}, (0, 0)),
    ],
)
def test_each_month_counts_the_filtered_repairs(owner, only, counts):
    page = owner.get(MONTH, DAY | only)
    months = {row.name: row for row in page.context["month"].months.rows}
    if any(counts):
        assert (months["Apr 2026"].repairs, months["Apr 2026"].comebacks) == counts
    else:
        assert sum(row.repairs for row in months.values()) == 0
    behind = owner.get("/comebacks/month/2026/4/", DAY | only)
    assert (behind.context["repairs"], behind.context["comebacks"]) == counts


def test_the_forecast_of_all_equals_that_of_each_kind_together():
    # Before the fifteenth day, on which the comebacks of this shop happen.
    early = date(2026, 8, 11)
    whole, laptops, others = (
        report(early, **only)
        for only in ({}, {"kind": "laptop"}, {"kind": "amplifier"})
    )
    assert whole.forecast.in_follow_up == (
        laptops.forecast.in_follow_up + others.forecast.in_follow_up
    )
    assert laptops.forecast.expected > others.forecast.expected + 0.5
    assert laptops.costs.repairs + others.costs.repairs == whole.costs.repairs == 20


def test_a_filter_that_excludes_nothing_changes_no_month():
    DeviceModel.objects.update(maker="Norwind")
    whole, some = report(), report(maker="Norwind")
    assert some.months.rows[-1].repairs == 20
    for name in (
        *("months", "triangle", "forecast", "forecast_before"),
        *("actual", "costs", "allowances"),
    ):
        assert getattr(some, name) == getattr(whole, name)


def test_the_filter_is_named_and_kept_in_links(owner):
    only = {"kind": "laptop", "by": "rosa"}
    text = page_text(owner.get(MONTH, DAY | only))
    assert "Filter: kind laptop, repaired by Rosa Quint." in text
    assert NOT_ABOUT_PEOPLE in text
    params = "as_of=2026-08-31&amp;within=90&amp;kind=laptop&amp;by=rosa"
    for address in (
        "/comebacks/month/2026/4/",
        reverse("month:pdf"),
        reverse("comebacks:table"),
        "/comebacks/repairs/",
    ):
        assert f'href="{address}?{params}' in text
    assert 'href="/comebacks/deliveries/?as_of=2026-08-31&amp;within=90"' in text
    assert "judged from all repairs of the shop" in text


@pytest.mark.paper
def test_the_document_of_filtered_repairs_has_their_month(owner):
    paper = owner.get(reverse("month:pdf"), DAY | {"kind": "laptop"})
    with pikepdf.open(io.BytesIO(paper.content)) as made:
        assert made.docinfo["/Title"] == ("Comebacks as of 31 Aug 2026, kind laptop")
        figures = [
            one
            for one in made.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/Figure"
        ]
    assert len(figures) >= 2  # the months and the risks


def test_a_filtered_month_is_cached_separately(owner):
    for only, repairs in (({}, 20), ({"kind": "laptop"}, 10), ({}, 20)):
        month = owner.get(MONTH, DAY | only).context["month"]
        assert month.months.rows[-1].repairs == repairs


@pytest.mark.parametrize("address", [MONTH, "/comebacks/month/2026/4/"])
def test_an_unknown_name_is_reported_at_its_field(owner, address):
    answer = owner.get(address, DAY | {"kind": "submarine"})
    assert "No such device kind." in page_text(answer)
    assert "month" not in answer.context
