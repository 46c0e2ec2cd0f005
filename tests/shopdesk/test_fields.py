from datetime import date
from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.models import Sum
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from repairs.stock.models import Part
from shopdesk.fields import (
    DayFormField,
    ExactFormField,
    MoneyField,
    MoneyFormField,
    WholeNumberField,
)
from shopdesk.lookup import normalize_search
from shopdesk.money import LIMIT, UNIT
from tests import make

D = Decimal
AMOUNTS = st.decimals(-LIMIT, LIMIT, places=4)


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("5", "5"),
        ("  5 ", "5"),
        ("1234.50", "1234.5"),
        ("1234,50", "1234.5"),
        ("0.0001", "0.0001"),
        ("0", "0"),
        ("007", "7"),
        ("12.3400000", None),
        ("999999999999", "999999999999"),
    ],
)
def test_plain_digits_are_taken_in_either_format(typed, amount):
    field = MoneyFormField(places=4)
    if amount is None:
        with pytest.raises(ValidationError):
            field.clean(typed)
    else:
        assert field.clean(typed) == D(amount)


@pytest.mark.parametrize(
    "typed",
    [
        "1e5",
        "1E+5",
        "1_000",
        "١٢٣",
        "１２.５",
        "\u00a05",
        "5\u00a0",
        "1\u00a0000",
        "1\u202f000",
        "1 000",
        "1'000",
        "NaN",
        "sNaN",
        "Infinity",
        "-Infinity",
        "inf",
        "1E+999",
        "9" * 400,
        "1.000,50",
        "1,000.50",
        "1.000.000",
        "1,000,000",
        "--5",
        "5-",
        "+5",
        "−5",
        "- 5",
        ".5",
        "5.",
        ",",
        "-",
        "0x10",
        "½",
        "€5",
        "5 EUR",
        "5\x00",
        "1\n2",
        "=1+1",
    ],
)
def test_all_else_is_refused_with_a_sentence(typed):
    with pytest.raises(ValidationError) as refused:
        ExactFormField(places=2, allow_negative=True).clean(typed)
    assert refused.value.messages == ["Enter an amount such as 1234.50."]


def test_minus_nothing_is_nothing():
    amount = ExactFormField(allow_negative=True).clean("-0.00")
    assert str(amount.normalize()) == "0" and not amount.is_signed()


@pytest.mark.parametrize("typed", ["-0.01", "-5"])
def test_below_zero_only_where_that_makes_sense(typed):
    assert ExactFormField(allow_negative=True).clean(typed) == D(typed)
    with pytest.raises(ValidationError, match="at least 0"):
        ExactFormField().clean(typed)


@pytest.mark.parametrize(
    ("typed", "why"),
    [("5.01", "at most 5"), ("1000000000000", "at most 5"), ("0.5", "at least 1")],
)
def test_outside_its_bounds_it_is_refused(typed, why):
    with pytest.raises(ValidationError, match=why):
        ExactFormField(min_value=1, max_value=5).clean(typed)


def test_no_amount_is_larger_than_the_limit():
    with pytest.raises(ValidationError, match="at most 999999999999\\."):
        ExactFormField().clean("9999999999999")


def test_more_decimals_than_asked_for_are_refused_not_rounded():
    with pytest.raises(ValidationError, match="at most 2 decimal places"):
        MoneyFormField(places=2).clean("1.005")
    assert MoneyFormField(places=2).clean("1.5000") == D("1.5")


def test_empty_is_asked_for_unless_it_may_be():
    assert ExactFormField(required=False).clean("") is None
    with pytest.raises(ValidationError):
        ExactFormField().clean("  ")


class AmountForm(forms.Form):
    amount = MoneyFormField(places=4, allow_negative=True)


@given(AMOUNTS)
def test_what_the_form_shows_it_reads_back(amount):
    shown = str(AmountForm(initial={"amount": amount})["amount"].value())
    assert "E" not in shown and "e" not in shown
    again = AmountForm({"amount": shown})
    assert again.is_valid(), again.errors
    assert again.cleaned_data["amount"] == amount


@given(st.text(max_size=30))
def test_whatever_is_typed_gives_an_amount_or_a_sentence(text):
    form = AmountForm({"amount": text})
    if form.is_valid():
        amount = form.cleaned_data["amount"]
        assert amount.is_finite() and abs(amount) <= LIMIT
        assert D(text.strip(" \t\r\n").replace(",", ".")) == amount
    else:
        assert form.errors["amount"][0].endswith((".", "required."))


@given(AMOUNTS, st.sampled_from([".", ","]))
def test_an_amount_written_with_point_or_comma_is_the_same(amount, point):
    typed = f"{amount:f}".replace(".", point)
    form = AmountForm({"amount": typed})
    assert form.is_valid() and form.cleaned_data["amount"] == amount


@given(AMOUNTS)
def test_the_field_keeps_whole_ten_thousandths(amount):
    field = MoneyField()
    kept = field.get_prep_value(amount)
    assert isinstance(kept, int)
    assert field.from_db_value(kept, None, connection) == amount


class TestInTheDatabase(TestCase):
    @given(st.decimals(0, LIMIT, places=4))
    def test_an_amount_comes_back_exactly(self, amount):
        part = make.part(fixed_price=amount)
        assert Part.objects.get(pk=part.pk).fixed_price == amount
        assert Part.objects.filter(fixed_price=amount).get() == part

    @given(st.lists(st.decimals(0, 10**9, places=4), min_size=1, max_size=8))
    def test_a_sum_in_the_database_is_exact(self, amounts):
        for amount in amounts:
            make.part(fixed_price=amount)
        found = Part.objects.aggregate(total=Sum("fixed_price"))["total"]
        assert found == sum(amounts)


def test_three_times_a_tenth_is_three_tenths(db):
    """Where a float lies underneath, it is not."""
    for _ in range(3):
        make.part(fixed_price=D("0.10"))
    assert Part.objects.aggregate(t=Sum("fixed_price"))["t"] == D("0.30")
    found = Part.objects.values("is_retired").annotate(t=Sum("fixed_price"))
    assert found.filter(t=D("0.30")).count() == 1


@pytest.mark.parametrize(
    "amount", ["1E+999", "NaN", "Infinity", "0.00001", str(LIMIT + 1)]
)
def test_what_can_not_be_kept_exactly_is_refused_before_the_database(db, amount):
    with (
        pytest.raises(ValueError, match="no amount|four decimals"),
        transaction.atomic(),
    ):
        make.part(fixed_price=D(amount))
    assert not Part.objects.exists()


def test_the_database_refuses_an_amount_below_zero(db):
    part = make.part(fixed_price=D(1))
    with pytest.raises(IntegrityError), transaction.atomic():
        Part.objects.filter(pk=part.pk).update(fixed_price=D("-0.01"))
    part.refresh_from_db()
    assert part.fixed_price == 1


def test_the_unit_is_a_ten_thousandth():
    assert UNIT == 10_000


# --- whole numbers ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "number"), [("0", 0), (" 12 ", 12), ("100000", 100_000), ("007", 7)]
)
def test_whole_numbers_are_taken(typed, number):
    assert WholeNumberField().clean(typed) == number


@pytest.mark.parametrize(
    "typed",
    ["1_000", "٣", "１", "1.5", "1.0", "1e3", "--1", "-1", "100001", "9" * 400, "\x00"],
)
def test_what_is_no_whole_number_in_range_is_refused(typed):
    with pytest.raises(ValidationError):
        WholeNumberField().clean(typed)


# --- days -------------------------------------------------------------------------


@pytest.mark.parametrize("day", ["1990-01-01", "2026-02-28", "2028-02-29"])
def test_days_that_can_be_are_taken(day):
    assert DayFormField().clean(day) == date.fromisoformat(day)


@pytest.mark.parametrize(
    "day",
    ["1989-12-31", "0001-01-01", "9999-12-31", "2026-02-29", "2026-13-01", "tomorrow"],
)
def test_days_that_can_not_be_are_refused(day):
    with pytest.raises(ValidationError):
        DayFormField().clean(day)


# --- words to search for ------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "searched"),
    [("Émile  DÜRR", "emile durr"), ("STRASSE ß", "strasse ss"), ("a\x00b", "ab")],
)
def test_case_and_accents_do_not_matter_when_searching(text, searched):
    assert normalize_search(text) == searched
