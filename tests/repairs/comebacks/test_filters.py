"""Filters by device and technician: the same on pages, documents and files."""

import io
import json
from datetime import date, timedelta

import numpy as np
import pikepdf
import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from repairs.comebacks.estimate.posterior import filtered_posterior, posterior
from repairs.comebacks.estimate.prior import Prior
from repairs.comebacks.output import as_table
from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import NOT_ABOUT_PEOPLE, ONLY_COUNTS, Scope
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make

pytestmark = [pytest.mark.django_db, pytest.mark.once]
TABLE = "/comebacks/"
QUERIES = 6  # of a page with a cached report, however many names there are


def ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def shop():
    """Laptops by Rosa come back, amplifiers by Tomas do not; one fix for both."""
    fault = make.fault(code="PWR-JACK")
    fix = make.fix(fault, code="RESOLDER")
    laptop = make.device_model("laptop", "Norwind", "Slate 14")
    amplifier = make.device_model("amplifier", "Halden", "A2")
    rosa = make.user(Role.BENCH, username="rosa", name="Rosa Quint")
    tomas = make.user(Role.BENCH, username="tomas", name="Tomas Vey")
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


def scope(**only):
    return Scope(as_of=timezone.localdate(), within=90, **only)


def page_text(answer):
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
def test_every_output_counts_the_filtered_repairs(owner, shop, only, counts):
    page = owner.get(TABLE, only)
    [row] = page.context["report"].rows
    assert (row.repairs, row.comebacks) == counts
    [shown] = owner.get(reverse("comebacks:json"), only).json()
    assert (shown["repairs"], shown["returned"]) == counts
    out = io.StringIO()
    options = [f"--{name}={value}" for name, value in only.items()]
    call_command("comebacks", *options, "--format=json", stdout=out, stderr=out)
    printed = out.getvalue()
    assert json.loads(printed[printed.index("[\n") :]) == [shown]
    outcomes = owner.get(
        reverse("knowledge:pair", args=[shop[0].pk, shop[1].pk]), only
    ).context["table"]
    assert len(outcomes.rows) == counts[0]


def test_a_filter_without_repairs_has_no_rows(owner, shop):
    text = page_text(owner.get(TABLE, {"kind": "laptop", "by": "tomas"}))
    assert "No fixed repairs handed over by that day." in text


def test_the_filter_is_named_wherever_figures_are_shown(owner, shop):
    only = {"kind": "laptop", "maker": "Norwind", "model": "Slate 14", "by": "rosa"}
    sentence = (
        "Filter: kind laptop, maker Norwind, model Slate 14, repaired by Rosa Quint."
    )
    for address in (
        TABLE,
        reverse("knowledge:pair", args=[shop[0].pk, shop[1].pk]),
    ):
        text = page_text(owner.get(address, only))
        assert sentence in text
        assert NOT_ABOUT_PEOPLE in text
        assert ONLY_COUNTS in text
    record = comeback_report(scope(**only, by_name="Rosa Quint"), shop=Shop.current())
    printed = " ".join(as_table(record).split())
    assert sentence in printed
    assert NOT_ABOUT_PEOPLE in printed
    err = io.StringIO()
    call_command(
        "comebacks", "--by=rosa", "--format=csv", stdout=io.StringIO(), stderr=err
    )
    assert "Filter: repaired by Rosa Quint." in err.getvalue()
    file = owner.get(reverse("comebacks:csv"), only)["Content-Disposition"]
    assert "-kind-laptop-maker-norwind-model-slate-14-by-rosa.csv" in file


def test_the_report_names_its_filter(owner, shop):
    pdf = owner.get(reverse("month:pdf"), {"by": "rosa"})
    assert pdf["Content-Type"] == "application/pdf"
    assert "by-rosa.pdf" in pdf["Content-Disposition"]
    whole = owner.get(reverse("month:pdf"))
    with (
        pikepdf.open(io.BytesIO(pdf.content)) as one,
        pikepdf.open(io.BytesIO(whole.content)) as other,
    ):
        assert ", repaired by Rosa Quint" in str(one.docinfo["/Title"])
        assert "repaired" not in str(other.docinfo["/Title"])


def test_filtered_reports_use_the_average_and_the_prior_of_all_repairs(shop):
    settings = Shop.current()
    whole = comeback_report(scope(), shop=settings).table
    some = comeback_report(scope(kind="laptop"), shop=settings).table
    assert some.rates.shop_hazard == whole.rates.shop_hazard
    assert some.rates.prior.shapes == whole.rates.prior.shapes
    assert some.rates.prior.weights == whole.rates.prior.weights
    rest = comeback_report(scope(kind="amplifier"), shop=settings).table
    expected = [t.frame["expected_comebacks"].sum() for t in (some, rest, whole)]
    assert expected[0] + expected[1] == pytest.approx(expected[2])
    risks = [float(t.frame["risk"].iloc[0]) for t in (rest, whole, some)]
    assert risks == sorted(risks)


def test_a_filter_that_excludes_nothing_changes_no_figure(shop):
    """So the same repairs never look better because of a filter."""
    settings = Shop.current()
    fault = make.fault()
    for n in range(12):
        laptop = make.device(model=make.device_model("laptop", "Norwind", "Slate 14"))
        back = ago(150 - n) if n < 3 else None
        fix = make.fix(fault, code=f"OWN-{n % 2}") if n < 2 else fix_of(fault, n)
        make.past_repair(fault, fix, on=ago(190 - n), back_on=back, of=laptop)
    whole = comeback_report(scope(), shop=settings)
    some = comeback_report(scope(kind="laptop"), shop=settings)
    both = {row.fix: row for row in some.rows if row.fault == fault.code}
    assert len(both) == 2
    assert both == {row.fix: row for row in whole.rows if row.fix in both}


def fix_of(fault, n):
    return fault.fixes.get(code=f"OWN-{n % 2}")


@pytest.mark.parametrize("seed", range(3))
def test_removing_repairs_equals_never_having_had_them(seed):
    rng = np.random.default_rng(seed)
    prior = Prior((4.0, 3.0), (16.0, 0.8), (0.8, 0.2))
    returned, expected = rng.poisson(3, 50), rng.gamma(2.0, 1.0, 50)
    kept_o, kept_e = rng.binomial(returned, 0.4), expected * rng.uniform(0, 1, 50)
    pooled = filtered_posterior(
        posterior(prior, comebacks=returned, expected=expected),
        comebacks=returned,
        expected=expected,
        counted_comebacks=kept_o,
        counted_expected=kept_e,
    )
    straight = posterior(prior, comebacks=kept_o, expected=kept_e)
    for name in ("shapes", "rates", "weights"):
        assert getattr(pooled, name) == pytest.approx(getattr(straight, name))


def test_a_filtered_report_shows_the_limits_of_all_repairs(shop):
    whole = comeback_report(scope(), shop=Shop.current())
    some = comeback_report(scope(kind="laptop"), shop=Shop.current())
    assert some.caveats == whole.caveats
    assert some.notes[0].startswith("Filter: kind laptop.")


def test_a_filter_with_few_repairs_is_pooled_towards_all(shop):
    settings = Shop.current()
    many = comeback_report(scope(kind="laptop"), shop=settings).rows[0]
    fix, fault = shop[1], shop[0]
    lone = make.device_model("recorder", "Halden", "R1")
    make.past_repair(fault, fix, on=ago(150), of=make.device(model=lone))
    few = comeback_report(scope(kind="recorder"), shop=settings).rows[0]
    assert few.verdict == "not enough repairs"
    assert few.risk_high - few.risk_low > 0
    assert few.repairs == 1
    assert few.risk < many.risk


@pytest.mark.parametrize(
    ("only", "sentence"),
    [
        ({"kind": "spaceship"}, "No such device kind."),
        ({"maker": "Nobody"}, "No such maker."),
        ({"model": "<b>"}, "No such model."),
        ({"by": "nobody"}, "No staff account with this name."),
        ({"kind": "x" * 5000}, "No such device kind."),
    ],
)
@pytest.mark.parametrize(
    "page", ["comebacks:table", "comebacks:csv", "comebacks:json", "month:pdf"]
)
def test_an_unknown_name_is_reported_at_its_field(owner, shop, only, sentence, page):
    answer = owner.get(reverse(page), only)
    assert answer.status_code == 200
    assert sentence in page_text(answer)
    assert "report" not in answer.context
    assert answer.context["form"].errors.keys() == only.keys()


def test_links_from_a_filtered_table_keep_the_filter(owner, shop):
    text = page_text(owner.get(TABLE, {"kind": "laptop", "by": "rosa"}))
    pair = reverse("knowledge:pair", args=[shop[0].pk, shop[1].pk])
    for address in (
        pair,
        *map(reverse, ("comebacks:csv", "comebacks:json", "month:pdf")),
    ):
        assert f"{address}?as_of=" in text
    assert text.count("kind=laptop&amp;by=rosa") >= 4


def test_a_scope_without_filters_counts_all_repairs():
    plain = Scope(as_of=date(2026, 6, 1), within=90)
    assert (plain.text, plain.notices, plain.is_filtered) == ("", [], False)
    assert plain.params == {"as_of": "2026-06-01", "within": "90"}
    assert plain.file_name("csv") == "comebacks-2026-06-01-90-days.csv"


@pytest.mark.parametrize("count", [1, 30])
def test_more_models_and_staff_need_no_more_queries(
    owner, count, django_assert_num_queries
):
    fault = make.fault()
    fix = make.fix(fault)
    for n in range(count):
        model = make.device_model("laptop", "Norwind", f"Slate {n}")
        by = make.user(Role.BENCH)
        make.past_repair(fault, fix, on=ago(100), of=make.device(model=model), by=by)
    owner.get(TABLE, {"kind": "laptop"})
    with django_assert_num_queries(QUERIES):
        owner.get(TABLE, {"kind": "laptop"})
