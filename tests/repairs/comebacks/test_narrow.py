"""Only some devices, or one technician: the same on page, on paper and in files."""

import io
import json
from datetime import date, timedelta

import numpy as np
import pikepdf
import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from repairs.comebacks.asked import SAYS_LITTLE, STILL_DRAWN, Asked
from repairs.comebacks.context import record_of
from repairs.comebacks.narrowed import known_of_some
from repairs.comebacks.posterior import posterior
from repairs.comebacks.prior import Prior
from repairs.comebacks.written import as_table
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Kind
from tests import make

pytestmark = pytest.mark.django_db
TABLE = "/comebacks/"
QUERIES = 6  # of a page whose record is kept, however many names there are


def ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def shop():
    """Laptops by Rosa come back, amplifiers by Tomas hold; one fix for both."""
    fault = make.fault(code="PWR-JACK")
    fix = make.fix(fault, code="RESOLDER")
    laptop = make.device_model("laptop", "Norwind", "Slate 14")
    amplifier = make.device_model("amplifier", "Halden", "A2")
    rosa = make.user(Kind.BENCH, username="rosa", name="Rosa Quint")
    tomas = make.user(Kind.BENCH, username="tomas", name="Tomas Vey")
    for n in range(10):
        make.past_repair(
            fault,
            fix,
            on=ago(200 - n),
            back_on=ago(180 - n) if n < 6 else None,
            of=make.device(model=laptop),
            by=rosa,
        )
        make.past_repair(
            fault, fix, on=ago(200 - n), of=make.device(model=amplifier), by=tomas
        )
    return fault, fix


def asked(**only):
    return Asked(as_of=timezone.localdate(), within=90, **only)


def words(answer):
    return " ".join(answer.content.decode().split())


@pytest.mark.parametrize(
    ("only", "counts"),
    [
        ({}, (20, 6)),
        ({"kind": "laptop"}, (10, 6)),
        ({"maker": "Halden"}, (10, 0)),
        ({"model": "Slate 14"}, (10, 6)),
        ({"by": "tomas"}, (10, 0)),
        ({"kind": "laptop", "by": "rosa"}, (10, 6)),
    ],
)
def test_only_the_repairs_asked_for_are_counted_everywhere(owner, shop, only, counts):
    page = owner.get(TABLE, only)
    [row] = page.context["record"].rows
    assert (row.repairs, row.returned) == counts
    [told] = owner.get(reverse("comebacks:json"), only).json()
    assert (told["repairs"], told["returned"]) == counts
    out = io.StringIO()
    words_of = [f"--{name}={value}" for name, value in only.items()]
    call_command("comebacks", *words_of, "--format=json", stdout=out, stderr=out)
    printed = out.getvalue()
    assert json.loads(printed[printed.index("[\n") :]) == [told]
    behind = owner.get(
        reverse("comebacks:pair", args=[shop[0].pk, shop[1].pk]), only
    ).context["table"]
    assert len(behind.rows) == counts[0]


def test_repairs_that_nobody_asked_for_alone_make_no_row(owner, shop):
    said = words(owner.get(TABLE, {"kind": "laptop", "by": "tomas"}))
    assert "No repair was handed back as fixed by that day." in said


def test_what_is_counted_is_said_in_words_wherever_it_is_shown(owner, shop):
    only = {"kind": "laptop", "maker": "Norwind", "model": "Slate 14", "by": "rosa"}
    sentence = (
        "only repairs of devices of kind laptop, maker Norwind, model Slate 14, done by"
        " Rosa Quint"
    )
    for address in (
        TABLE,
        reverse("comebacks:pair", args=[shop[0].pk, shop[1].pk]),
    ):
        said = words(owner.get(address, only))
        assert sentence in said
        assert SAYS_LITTLE in said
        assert STILL_DRAWN in said
    record = record_of(asked(**only, by_name="Rosa Quint"), shop=Shop.current())
    printed = " ".join(as_table(record).split())
    assert sentence in printed
    assert SAYS_LITTLE in printed
    err = io.StringIO()
    call_command(
        "comebacks", "--by=rosa", "--format=csv", stdout=io.StringIO(), stderr=err
    )
    assert "repairs done by Rosa Quint" in err.getvalue()
    file = owner.get(reverse("comebacks:csv"), only)["Content-Disposition"]
    assert "-kind-laptop-maker-norwind-model-slate-14-by-rosa.csv" in file


def test_the_report_says_which_repairs_are_counted(owner, shop):
    paper = owner.get(reverse("comebacks:pdf"), {"by": "rosa"})
    assert paper["Content-Type"] == "application/pdf"
    assert "by-rosa.pdf" in paper["Content-Disposition"]
    whole = owner.get(reverse("comebacks:pdf"))
    with (
        pikepdf.open(io.BytesIO(paper.content)) as one,
        pikepdf.open(io.BytesIO(whole.content)) as other,
    ):
        assert "only repairs done by Rosa Quint" in str(one.docinfo["/Title"])
        assert "only" not in str(other.docinfo["/Title"])


def test_all_repairs_say_what_is_expected_and_what_each_is_drawn_towards(shop):
    shop_ = Shop.current()
    whole = record_of(asked(), shop=shop_).table
    some = record_of(asked(kind="laptop"), shop=shop_).table
    assert some.hazard == whole.hazard
    assert some.prior.shapes == whole.prior.shapes
    assert some.prior.weights == whole.prior.weights
    rest = record_of(asked(kind="amplifier"), shop=shop_).table
    parts = some.rows["expected"].sum() + rest.rows["expected"].sum()
    assert parts == pytest.approx(whole.rows["expected"].sum())
    risks = [float(t.rows["risk"].iloc[0]) for t in (rest, whole, some)]
    assert risks == sorted(risks)


def test_what_leaves_nothing_out_changes_no_figure(shop):
    """So that nobody wonders why a fix is better for being asked about alone."""
    shop_ = Shop.current()
    fault = make.fault()
    for n in range(12):
        laptop = make.device(model=make.device_model("laptop", "Norwind", "Slate 14"))
        back = ago(150 - n) if n < 3 else None
        fix = make.fix(fault, code=f"OWN-{n % 2}") if n < 2 else fix_of(fault, n)
        make.past_repair(fault, fix, on=ago(190 - n), back_on=back, of=laptop)
    whole = record_of(asked(), shop=shop_)
    some = record_of(asked(kind="laptop"), shop=shop_)
    both = {row.fix: row for row in some.rows if row.fault == fault.code}
    assert len(both) == 2
    assert both == {row.fix: row for row in whole.rows if row.fix in both}


def fix_of(fault, n):
    return fault.fixes.get(code=f"OWN-{n % 2}")


@pytest.mark.parametrize("seed", range(3))
def test_taking_repairs_out_is_as_if_they_had_never_been(seed):
    rng = np.random.default_rng(seed)
    prior = Prior((4.0, 3.0), (16.0, 0.8), (0.8, 0.2))
    returned, expected = rng.poisson(3, 50), rng.gamma(2.0, 1.0, 50)
    kept_o, kept_e = rng.binomial(returned, 0.4), expected * rng.uniform(0, 1, 50)
    found = known_of_some(
        posterior(prior, returned=returned, expected=expected),
        returned=returned,
        expected=expected,
        counted_returned=kept_o,
        counted_expected=kept_e,
    )
    straight = posterior(prior, returned=kept_o, expected=kept_e)
    for name in ("shapes", "rates", "weights"):
        assert getattr(found, name) == pytest.approx(getattr(straight, name))


def test_what_the_figures_rest_on_is_said_of_all_repairs(shop):
    whole = record_of(asked(), shop=Shop.current())
    some = record_of(asked(kind="laptop"), shop=Shop.current())
    assert some.honest == whole.honest
    assert some.notes[0].startswith("Counted here are only repairs of devices of kind")


def test_few_repairs_alone_say_less_than_all(shop):
    shop_ = Shop.current()
    many = record_of(asked(kind="laptop"), shop=shop_).rows[0]
    fix, fault = shop[1], shop[0]
    lone = make.device_model("recorder", "Halden", "R1")
    make.past_repair(fault, fix, on=ago(150), of=make.device(model=lone))
    few = record_of(asked(kind="recorder"), shop=shop_).rows[0]
    assert few.verdict == "too few to tell"
    assert few.high - few.low > 0
    assert few.repairs == 1
    assert few.risk < many.risk


@pytest.mark.parametrize(
    ("only", "sentence"),
    [
        ({"kind": "spaceship"}, "No device of this kind has been here."),
        ({"maker": "Nobody"}, "No device of this maker has been here."),
        ({"model": "<b>"}, "No device of this model has been here."),
        ({"by": "nobody"}, "Nobody here signs in by this name."),
        ({"kind": "x" * 5000}, "No name here is as long as this."),
        ({"by": "\x00"}, "Null characters are not allowed."),
    ],
)
@pytest.mark.parametrize("door", ["table", "csv", "json", "pdf"])
def test_a_name_that_is_not_on_record_is_told_beside_its_box(
    owner, shop, only, sentence, door
):
    answer = owner.get(reverse(f"comebacks:{door}"), only)
    assert answer.status_code == 200
    assert sentence in words(answer)
    assert "record" not in answer.context
    assert answer.context["form"].errors.keys() == only.keys()


def test_a_link_from_a_narrowed_table_asks_the_same(owner, shop):
    said = words(owner.get(TABLE, {"kind": "laptop", "by": "rosa"}))
    pair = reverse("comebacks:pair", args=[shop[0].pk, shop[1].pk])
    for address in (pair, *(reverse(f"comebacks:{d}") for d in ("csv", "json", "pdf"))):
        assert f"{address}?as_of=" in said
    assert said.count("kind=laptop&amp;by=rosa") >= 4


def test_nothing_asked_narrows_nothing():
    plain = Asked(as_of=date(2026, 6, 1), within=90)
    assert (plain.words, plain.sentences, plain.is_narrowed) == ("", [], False)
    assert plain.in_address == {"as_of": "2026-06-01", "within": "90"}
    assert plain.file_name("csv") == "comebacks-2026-06-01-90-days.csv"


@pytest.mark.parametrize("count", [1, 30])
def test_more_models_and_staff_ask_the_database_no_more_often(
    owner, count, django_assert_num_queries
):
    fault = make.fault()
    fix = make.fix(fault)
    for n in range(count):
        model = make.device_model("laptop", "Norwind", f"Slate {n}")
        by = make.user(Kind.BENCH)
        make.past_repair(fault, fix, on=ago(100), of=make.device(model=model), by=by)
    owner.get(TABLE, {"kind": "laptop"})
    with django_assert_num_queries(QUERIES):
        owner.get(TABLE, {"kind": "laptop"})
