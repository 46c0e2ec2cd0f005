"""Rates of tax with their days, as the owner writes them down."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shopdesk.shop import tax
from shopdesk.shop.models import Shop, TaxRate, TaxRule
from tests import make
from tests.shopdesk.shop.page import PAGE, as_typed

TODAY = date(2026, 3, 5)


@pytest.fixture(autouse=True)
def a_day():
    with time_machine.travel(TODAY, tick=False):
        yield


def rate(percent, *, of=tax.STANDARD, on=date(2026, 1, 1), reason=""):
    return TaxRate.objects.create(kind=of, rate=percent, starts_on=on, reason=reason)


def add(client, *, kind=tax.STANDARD, rate="", starts_on=TODAY, reason="", **figures):
    told = as_typed(**figures)
    told |= {"rate-kind": kind, "rate-rate": rate, "rate-reason": reason}
    return client.post(PAGE, told | {"rate-starts_on": str(starts_on)})


def held(on=TODAY):
    return {kind: one.rate for kind, one in TaxRate.objects.in_force(on).items()}


def test_a_rate_holds_from_its_first_day(client, owner):
    assert add(client, rate="21.5", starts_on=date(2026, 4, 1)).status_code == 302
    assert held(date(2026, 3, 31))[tax.STANDARD] == 20
    assert held(date(2026, 4, 1))[tax.STANDARD] == Decimal("21.5")


def test_a_successor_leaves_the_one_before_as_it_was(client, owner):
    rate(Decimal(19))
    assert add(client, rate="21").status_code == 302
    assert held(date(2026, 3, 4))[tax.STANDARD] == 19
    assert held()[tax.STANDARD] == 21


@pytest.mark.parametrize("day", [date(2025, 12, 31), date(2026, 1, 1)])
def test_what_has_held_can_not_be_changed(client, owner, day):
    kept = rate(Decimal(19))
    answer = add(client, rate="7", starts_on=day, name="Fern Lane")
    assert answer.status_code == 200
    (wrong,) = answer.context["rate_form"].errors["starts_on"]
    assert (
        "A new one must start later" in wrong and "Fern Lane" in answer.content.decode()
    )
    assert list(TaxRate.objects.values_list("pk", "rate")) == [(kept.pk, 19)]
    assert not Shop.objects.exists()


@pytest.mark.parametrize("days", [0, 1, 400])
def test_a_slip_of_the_pen_is_put_right_until_its_first_day_is_over(
    client, owner, days
):
    day = TODAY + timedelta(days=days)
    first = rate(Decimal(91), on=day)
    assert add(client, rate="19", starts_on=day).status_code == 302
    assert list(TaxRate.objects.values_list("pk", "rate")) == [(first.pk, 19)]


def test_a_rate_to_come_is_taken_back_and_one_that_holds_is_not(client, owner):
    now, later = rate(Decimal(19)), rate(Decimal(21), on=date(2026, 7, 1))
    page = client.get(PAGE).content.decode()
    assert f'value="rate {later.pk}"' in page and f'value="rate {now.pk}"' not in page
    client.post(PAGE, as_typed() | {"then": f"rate {later.pk}"})
    assert list(TaxRate.objects.values_list("pk", flat=True)) == [now.pk]
    client.post(PAGE, as_typed() | {"then": f"rate {later.pk}"})  # twice is once
    answer = client.post(PAGE, as_typed() | {"then": f"rate {now.pk}"}, follow=True)
    assert "Add a new rate instead" in answer.content.decode()
    assert TaxRate.objects.exists()


@pytest.mark.parametrize(
    "then", ["rate", "rate x", "rate ٣", "rate " + "9" * 40, "x 1"]
)
def test_a_button_that_is_none_takes_nothing_away(client, owner, then):
    rate(Decimal(19), on=date(2026, 7, 1))
    assert client.post(PAGE, as_typed() | {"then": then}).status_code == 302
    assert TaxRate.objects.count() == 1


@pytest.mark.parametrize(
    ("told", "wrong"),
    [
        ({"rate": ""}, "rate"),
        ({"rate": "0"}, "rate"),
        ({"rate": "100.5"}, "rate"),
        ({"rate": "1e1"}, "rate"),
        ({"rate": "-19"}, "rate"),
        ({"rate": "NaN"}, "rate"),
        ({"rate": "9" * 400}, "rate"),
        ({"rate": "19", "starts_on": ""}, "starts_on"),
        ({"rate": "19", "starts_on": "1989-12-31"}, "starts_on"),
        ({"rate": "19", "starts_on": "2199-01-01"}, "starts_on"),
        ({"rate": "19", "kind": "half"}, "kind"),
        ({"kind": tax.ZERO}, "kind"),
        ({"kind": tax.EXEMPT}, "reason"),
        ({"kind": tax.REVERSE, "rate": "5", "reason": "So."}, "rate"),
        ({"kind": tax.OUTSIDE, "reason": "x" * 201}, "reason"),
    ],
)
def test_a_rate_that_makes_no_sense_is_refused_beside_its_box(
    client, owner, told, wrong
):
    answer = add(client, **told)
    assert list(answer.context["rate_form"].errors) == [wrong]
    assert not TaxRate.objects.exists() and not Shop.objects.exists()
    assert answer.context["groups"][3]["is_open"]


@pytest.mark.parametrize("kind", [tax.EXEMPT, tax.REVERSE, tax.OUTSIDE])
def test_the_reason_why_there_is_no_tax_is_the_shops_own(client, owner, kind):
    assert add(client, kind=kind, reason="By § 19 of ours").status_code == 302
    now = TaxRate.objects.in_force(TODAY)[kind]
    assert (now.rate, now.reason) == (0, "By § 19 of ours")
    assert "By § 19 of ours" in client.get(PAGE).content.decode()


def test_the_usual_tax_is_one_that_the_shop_has(client, owner):
    refused = client.post(PAGE, as_typed(tax_kind=tax.REDUCED))
    assert list(refused.context["form"].errors) == ["tax_kind"]
    later = date(2026, 4, 1)
    refused = add(
        client, kind=tax.REDUCED, rate="7", starts_on=later, tax_kind=tax.REDUCED
    )
    assert list(refused.context["form"].errors) == ["tax_kind"]
    # Written down and chosen at once.
    assert (
        add(client, kind=tax.REDUCED, rate="7", tax_kind=tax.REDUCED).status_code == 302
    )
    assert held()[Shop.current().tax_kind] == 7


def rule(client, *, sold="", buyer="", kind=tax.EXEMPT, reason="", **figures):
    told = {"sold": sold, "buyer": buyer, "kind": kind, "reason": reason}
    told = {f"rule-{name}": value for name, value in told.items()}
    return client.post(PAGE, as_typed(**figures) | told)


def test_a_tax_rule_is_added_shown_and_removed(client, owner):
    assert rule(client, sold="labour", reason="Not taxed here").status_code == 302
    page = client.get(PAGE)
    cells = {
        row.buyer: [one.label for _, one in row.taxes]
        for row in page.context["usual_taxes"]
    }
    assert set(cells) == {label for _, label in tax.BUYERS}
    assert cells["businesses"] == ["exempt", "standard rate", "standard rate"]
    assert "exempt: Not taxed here" in page.text
    added = TaxRule.objects.get()
    client.post(PAGE, as_typed() | {"then": f"rule {added.pk}"})
    assert not TaxRule.objects.exists()


@pytest.mark.parametrize(
    ("entered", "wrong", "sentence"),
    [
        ({}, "sold", "Select what is sold or the customers"),
        ({"sold": "part"}, "sold", "There is already a rule for this"),
        ({"buyer": "abroad", "kind": tax.REDUCED}, "kind", "what the reduced rate is"),
        ({"buyer": "abroad", "kind": ""}, "kind", "required"),
    ],
)
def test_a_tax_rule_that_makes_no_sense_is_refused(
    client, owner, entered, wrong, sentence
):
    TaxRule.objects.create(sold="part", kind=tax.ZERO)
    answer = rule(client, **entered, reason="Typed before", name="Fern Lane")
    assert list(answer.context["rule_form"].errors) == [wrong]
    assert sentence in answer.context["rule_form"].errors[wrong][0]
    assert "Typed before" in answer.text and "Fern Lane" in answer.text
    assert TaxRule.objects.count() == 1 and not Shop.objects.exists()


def test_a_rate_is_added_only_once_by_a_form_sent_twice(client, owner):
    assert add(client, rate="21").status_code == 302
    assert add(client, rate="21").status_code == 302
    assert TaxRate.objects.count() == 1


def test_the_page_says_until_when_each_rate_held(client, owner):
    rate(Decimal(19), on=date(2020, 1, 1))
    rate(Decimal(16), on=date(2020, 7, 1))
    rate(Decimal(21), on=date(2027, 1, 1))
    rows = [
        (row.rate, row.ends_on, row.status)
        for row in client.get(PAGE).context["rates"]
        if row.label == "standard rate"
    ]
    assert rows == [
        (21, None, "future"),
        (16, date(2026, 12, 31), "current"),
        (19, date(2020, 6, 30), "ended"),
    ]


@given(
    days=st.lists(
        st.dates(date(2000, 1, 1), date(2050, 1, 1)), unique=True, max_size=5
    ),
    on=st.dates(date(1995, 1, 1), date(2055, 1, 1)),
)
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_latest_rate_that_has_begun_is_the_one_that_holds(db, days, on):
    TaxRate.objects.all().delete()
    for n, day in enumerate(days, 1):
        rate(Decimal(n), of=tax.REDUCED, on=day)
    begun = [(day, n) for n, day in enumerate(days, 1) if day <= on]
    now = TaxRate.objects.in_force(on).get(tax.REDUCED)
    assert (now and now.rate) == (max(begun)[1] if begun else None)


def test_make_has_a_rate_for_every_day(db):
    make.shop(tax_rate=Decimal(7))
    assert held(date(1990, 1, 1))[tax.STANDARD] == 7
