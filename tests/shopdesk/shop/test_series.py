"""How bills are numbered, and that two kinds never share a number."""

from datetime import date

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.shop import numbering
from shopdesk.shop.models import Series, Shop
from tests import make
from tests.shopdesk.shop.page import PAGE, as_typed

EXAMPLES = "/shop/figures/examples/"


@pytest.fixture(autouse=True)
def a_day():
    with time_machine.travel(date(2026, 3, 5), tick=False):
        yield


def save(client, **changes):
    return client.post(PAGE, as_typed(**changes))


@pytest.mark.parametrize(
    ("pattern", "name"),
    [("INV{yy}", "INV26"), ("{yy}R", "26R"), ("A1B{yy}C", "A1B26C"), ("R", "R")],
)
def test_a_pattern_gives_the_series_of_a_year(pattern, name):
    assert numbering.pattern_error(pattern) == ""
    assert numbering.series_name(pattern, on=date(2026, 12, 31)) == name
    assert numbering.full_number(name, 42) == f"{name}-00042"


@given(st.text(max_size=8))
def test_whatever_is_typed_is_a_right_pattern_or_told_to_be_wrong(typed):
    pattern = numbering.normalize_pattern(typed)
    if not numbering.pattern_error(pattern):
        names = numbering.possible_series_names(pattern)
        assert all(n.isascii() and n.isalnum() and n.upper() == n for n in names)
        assert len(names) in (1, 100)


@pytest.mark.parametrize("field", ["invoice_series", "credit_series"])
@pytest.mark.parametrize(
    "wrong",
    [
        "",
        " ",
        "{yy}",
        "26",
        "R-{yy}",
        "R {yy}",
        "R{yy}{yy}",
        "R{YYYY}",
        "Ä",
        "R/",
        "٣A",
    ],
)
def test_a_wrong_pattern_is_refused_beside_its_box(client, owner, field, wrong):
    make.shop()
    before = Shop.objects.values().get()
    answer = save(client, **{field: wrong})
    assert list(answer.context["form"].errors) == [field]
    assert Shop.objects.values().get() == before


def test_small_letters_become_capitals(client, owner):
    assert save(client, invoice_series="re{yy}").status_code == 302
    assert Shop.current().invoice_series == "RE{yy}"


@pytest.mark.parametrize(
    ("invoices", "credits"),
    [("R{yy}", "R{yy}"), ("R26", "R{yy}"), ("R{yy}", "R99"), ("R2{yy}", "R{yy}6")],
)
def test_the_two_may_not_meet_in_any_year(client, owner, invoices, credits):
    answer = save(client, invoice_series=invoices, credit_series=credits)
    names = numbering.possible_series_names
    assert names(invoices) & names(credits)
    assert list(answer.context["form"].errors) == ["credit_series"]


def test_a_series_with_numbers_of_the_other_kind_is_refused(client, owner):
    make.shop()
    numbering.give("CN26", kind=numbering.CREDITS)
    answer = save(client, invoice_series="CN{yy}", credit_series="GS{yy}")
    (wrong,) = answer.context["form"].errors["invoice_series"]
    assert "The prefix CN26 is used for credit notes." in wrong
    assert Shop.objects.get().invoice_series == "INV{yy}"


def test_a_new_beginning_starts_at_one_and_the_old_one_goes_on_where_it_was(
    client, owner
):
    make.shop()
    for _ in range(3):
        numbering.give("INV26", kind=numbering.INVOICES)
    assert save(client, invoice_series="RE{yy}").status_code == 302
    assert "RE26-00001" in client.get(PAGE).content.decode()
    assert save(client, invoice_series="INV{yy}").status_code == 302
    assert "INV26-00004" in client.get(PAGE).content.decode()


def test_numbers_of_two_kinds_do_not_mix_whatever_the_page_allowed(db):
    numbering.give("X26", kind=numbering.INVOICES)
    with pytest.raises(numbering.NumberSeriesError):
        numbering.give("X26", kind=numbering.CREDITS)
    assert Series.objects.get(name="X26").last == 1


def test_the_example_follows_the_boxes_and_keeps_nothing(client, owner):
    make.shop()
    numbering.give("RE26", kind=numbering.INVOICES)
    told = {"invoice_series": "re{yy}", "credit_series": "?"}
    page = client.get(EXAMPLES, told).content.decode()
    assert "RE26-00002" in page and "This credit note prefix is not valid" in page
    page = client.get(EXAMPLES, {"currency": "JPY", "locale": "de_DE"}).content.decode()
    assert "1.235 ¥" in page.replace("\xa0", " ")
    assert Shop.objects.get().invoice_series == "INV{yy}"
    assert Series.objects.count() == 1
    assert client.post(EXAMPLES, told).status_code == 405


@pytest.mark.parametrize(
    "told",
    [
        {},
        {"invoice_series": "x" * 3000},
        {"currency": "XYZ", "locale": "en_GB"},
        {"currency": "EUR", "locale": "../etc"},
        {"locale": "\x00"},
    ],
)
def test_nonsense_gets_a_sentence_and_never_a_fault(client, owner, told):
    answer = client.get(EXAMPLES, told)
    assert (
        answer.status_code == 200
        and "This number format is not valid" in answer.content.decode()
    )


# --- read back ----------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "INV26-00042",
        " inv26-42 ",
        "INV26 42",
        "Inv26 / 00042",
        "INV26–00042",
        "INV2600042",
    ],
)
def test_a_number_is_read_however_a_hand_wrote_it(text):
    assert numbering.read(text) == ("INV26", 42)


@pytest.mark.parametrize(
    "text",
    ["", "42", "26-00412", "INV26", "INV26-", "INV26-4x", "INV26-1234567890", "Å1-1"],
)
def test_what_is_no_whole_number_is_not_read(text):
    assert numbering.read(text) is None


@pytest.mark.parametrize("pattern", ["INV{yy}", "RE", "{yy}R", "R2D{yy}X"])
@pytest.mark.parametrize("number", [1, 42, 99_999, 100_000, 123_456_789])
def test_every_number_that_is_written_is_read_back(pattern, number):
    name = numbering.series_name(pattern, on=date(2026, 1, 1))
    assert numbering.read(numbering.full_number(name, number)) == (name, number)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("26-0004", ("26", "4")),
        ("inv26-", ("INV26", "")),
        ("inv26", ("INV26", "")),
        ("R26", ("R26", "")),
        ("00042", ("", "42")),
        ("-42", ("", "42")),
        ("INV26-00042", ("INV26", "42")),
        ("0", None),
        ("-", None),
        ("fenwick", None),
        ("Fenwick & Co 3", None),
    ],
)
def test_a_part_of_a_number_is_read_without_what_only_fills_up(text, part):
    assert numbering.read_part(text) == part
