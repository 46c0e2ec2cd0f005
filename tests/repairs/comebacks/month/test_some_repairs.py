"""The month of some repairs: of one kind of device, or of one technician."""

import io
from datetime import date, timedelta

import pikepdf
import pytest
from django.urls import reverse

from repairs.comebacks.asked import SAYS_LITTLE, Asked
from repairs.comebacks.month.context import month_of
from repairs.customers.models import DeviceModel
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Kind
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
    """Laptops by Rosa come back, amplifiers by Tomas hold; one fix for both."""
    fault = make.fault(code="PWR-JACK")
    fix = make.fix(fault, code="RESOLDER")
    laptop = make.device_model("laptop", "Norwind", "Slate 14")
    amplifier = make.device_model("amplifier", "Halden", "A2")
    rosa = make.user(Kind.BENCH, username="rosa", name="Rosa Quint")
    tomas = make.user(Kind.BENCH, username="tomas", name="Tomas Vey")
    for month in (3, 4, 8):
        for n in range(10):
            on = date(2026, month, 1 + n)
            back = on + timedelta(days=15) if n < 4 else None
            of = make.device(model=laptop)
            make.past_repair(fault, fix, on=on, back_on=back, of=of, by=rosa)
            of = make.device(model=amplifier)
            make.past_repair(fault, fix, on=on, of=of, by=tomas)
    return fault, fix


def words(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def told(**only):
    asked = Asked(as_of=NOW, within=90, **only)
    return month_of(asked, shop=Shop.current())["month"]


@pytest.mark.parametrize(
    ("only", "counts"),
    [
        ({}, (20, 4)),
        ({"kind": "laptop"}, (10, 4)),
        ({"by": "tomas"}, (10, 0)),
        ({"kind": "laptop", "by": "tomas"}, (0, 0)),
    ],
)
def test_each_month_counts_only_the_repairs_asked_for(owner, only, counts):
    page = owner.get(MONTH, DAY | only)
    months = {row.said: row for row in page.context["month"].months}
    if any(counts):
        assert (months["Apr 2026"].repairs, months["Apr 2026"].returned) == counts
    else:
        assert sum(row.repairs for row in months.values()) == 0
    behind = owner.get("/comebacks/month/2026/4/", DAY | only)
    assert (behind.context["repairs"], behind.context["returned"]) == counts


def test_what_is_expected_of_all_is_what_is_expected_of_each_kind_together():
    whole, laptops, others = (
        told(**only) for only in ({}, {"kind": "laptop"}, {"kind": "amplifier"})
    )
    assert whole.coming.watched == laptops.coming.watched + others.coming.watched
    assert laptops.coming.expected > others.coming.expected
    assert laptops.money.repairs + others.money.repairs == whole.money.repairs == 20


def test_what_leaves_nothing_out_changes_no_month():
    DeviceModel.objects.update(maker="Norwind")
    whole, some = told(), told(maker="Norwind")
    assert some.of_months.rows[-1].repairs == 20
    for name in ("of_months", "triangle", "coming", "foretold", "came", "money"):
        assert getattr(some, name) == getattr(whole, name)


def test_what_is_counted_is_said_and_asked_on_wherever_one_goes(owner):
    only = {"kind": "laptop", "by": "rosa"}
    said = words(owner.get(MONTH, DAY | only))
    assert "only repairs of devices of kind laptop, done by Rosa Quint" in said
    assert SAYS_LITTLE.replace("’", "&#x27;") in said
    asked = "as_of=2026-08-31&amp;within=90&amp;kind=laptop&amp;by=rosa"
    for address in (
        "/comebacks/month/2026/4/",
        reverse("comebacks:pdf"),
        reverse("comebacks:table"),
        "/comebacks/repairs/",
    ):
        assert f'href="{address}?{asked}' in said
    assert 'href="/comebacks/deliveries/?as_of=2026-08-31&amp;within=90"' in said
    assert "judged by all repairs of the shop" in said


@pytest.mark.paper
def test_the_paper_of_some_repairs_holds_their_month(owner):
    paper = owner.get(reverse("comebacks:pdf"), DAY | {"kind": "laptop"})
    with pikepdf.open(io.BytesIO(paper.content)) as made:
        assert made.docinfo["/Title"] == (
            "Comebacks as known on 31 Aug 2026, only repairs of devices of kind laptop"
        )
        figures = [
            one
            for one in made.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/Figure"
        ]
    assert len(figures) >= 2  # the months and the risks


def test_a_narrowed_month_is_kept_apart_from_the_whole(owner):
    for only, repairs in (({}, 20), ({"kind": "laptop"}, 10), ({}, 20)):
        month = owner.get(MONTH, DAY | only).context["month"]
        assert month.months[-1].repairs == repairs


@pytest.mark.parametrize("address", [MONTH, "/comebacks/month/2026/4/"])
def test_a_name_that_is_not_on_record_is_told_beside_its_box(owner, address):
    answer = owner.get(address, DAY | {"kind": "submarine"})
    assert "No device of this kind has been here." in words(answer)
    assert "month" not in answer.context
