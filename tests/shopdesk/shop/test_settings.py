from decimal import Decimal

import pytest

from shopdesk.shop import currencies
from shopdesk.shop.models import Shop
from tests import make
from tests.sent_forms import typed_in
from tests.shopdesk.shop.page import PAGE, as_typed


def save(client, **changes):
    return client.post(PAGE, as_typed(**changes))


def test_every_setting_of_the_shop_is_on_the_page(client, owner):
    shown = set(client.get(PAGE).context["form"].fields)
    kept = {field.name for field in Shop._meta.get_fields()}
    no_settings = {"id", "set_up_on", "clock_seen_at", "clock_doubted_since"}
    assert shown == kept - no_settings


def test_the_page_saved_untouched_changes_nothing(client, owner):
    make.shop(name="Fern Lane", hourly_rate=Decimal("71.5"), markup=Decimal("62.25"))
    before = Shop.objects.values().get()
    assert save(client).status_code == 302
    assert Shop.objects.values().get() == before


def test_the_first_saving_makes_the_one_record(client, owner):
    assert not Shop.objects.exists()
    save(client, name="Fern Lane", currency="CHF", locale="de_CH", hourly_rate="120,50")
    shop = Shop.objects.get()
    assert (shop.pk, shop.name, shop.currency) == (1, "Fern Lane", "CHF")
    assert shop.hourly_rate == Decimal("120.50")


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("name", ""),
        ("currency", "DEM"),  # no longer tender
        ("currency", "XYZ"),
        ("country", "ZZ"),
        ("locale", "klingon"),
        ("locale", "en-GB-"),
        ("locale", "../etc"),
        ("tax_kind", "half"),
        ("hourly_rate", "1e5"),
        ("hourly_rate", "-5"),
        ("hourly_rate", "9" * 400),
        ("hourly_rate", "12.345"),
        ("minimum_minutes", "1_0"),
        ("minimum_minutes", "٣"),
        ("quote_days", "0"),
        ("comeback_period_days", "6"),
        ("comeback_period_days", "731"),
        ("max_comeback_risk", "0"),
        ("max_comeback_risk", "1"),
        ("max_comeback_risk", "10 %"),
        ("verdict_confidence", "0.5"),
        ("final_test_risk", "1.5"),
        ("email", "nobody"),
        ("warranty_text", "x" * 2001),
    ],
)
def test_a_figure_that_makes_no_sense_is_refused_by_name(client, owner, field, wrong):
    make.shop()
    before = Shop.objects.values().get()
    response = save(client, **{field: wrong, "address": "7 Fern Lane"})
    assert list(response.context["form"].errors) == [field]
    assert "7 Fern Lane" in response.content.decode()
    assert Shop.objects.values().get() == before


def test_a_currency_without_decimals_takes_whole_amounts_only(client, owner):
    refused = save(client, currency="JPY")
    assert list(refused.context["form"].errors) == ["rounding_step"]
    assert "Enter a whole amount" in refused.content.decode()
    assert save(client, currency="JPY", rounding_step="10").status_code == 302


def test_a_currency_with_three_decimals_takes_three(client, owner):
    assert save(client, currency="KWD", hourly_rate="21.125").status_code == 302
    assert Shop.current().hourly_rate == Decimal("21.125")


def test_fields_that_are_not_on_the_page_are_not_taken(client, owner):
    make.shop()
    save(client, id="2", pk="2")
    assert Shop.objects.values_list("pk", flat=True).get() == 1


@pytest.mark.parametrize("code", ["EUR", "USD", "GBP", "JPY", "KWD", "CHF"])
def test_currencies_of_today_are_known(code):
    assert code in currencies.currencies()


@pytest.mark.parametrize(("code", "places"), [("EUR", 2), ("JPY", 0), ("KWD", 3)])
def test_places_follow_the_currency(code, places):
    """ISO 4217 minor units (from memory; by way of CLDR's currency data)."""
    assert currencies.places(code) == places


def test_two_owners_do_not_undo_each_other(client, owner):
    """The second is told, keeps what was typed, and may then save on top."""
    make.shop()
    first, second = (typed_in(client.get(PAGE)) for _ in range(2))
    assert client.post(PAGE, first | {"quote_days": "21"}).status_code == 302
    refused = client.post(PAGE, second | {"quote_days": "45", "name": "Fern Lane"})
    (conflict,) = refused.context["form"].conflicts
    assert (conflict.stored, conflict.entered) == ("21", "45")
    assert Shop.objects.get().quote_days == 21
    again = client.post(PAGE, typed_in(refused))
    assert again.status_code == 302
    shop = Shop.objects.get()
    assert (shop.quote_days, shop.name) == (45, "Fern Lane")


@pytest.mark.parametrize(
    ("field", "few", "many"),
    [("letterhead", 6, 7), ("address", 6, 7)],
)
def test_the_head_of_a_paper_holds_only_so_many_lines(client, owner, field, few, many):
    lines = "  \n\n".join(f"line {n}" for n in range(few))
    assert save(client, **{field: lines}).status_code == 302
    assert getattr(Shop.objects.get(), field).count("\n") == few - 1
    refused = save(client, **{field: "\n".join("x" * many)})
    assert list(refused.context["form"].errors) == [field]


@pytest.mark.parametrize(
    ("currency", "shown"), [("JPY", "1250"), ("EUR", "1250.00"), ("KWD", "1250.000")]
)
def test_boxes_show_the_decimals_of_the_currency(client, owner, currency, shown):
    make.shop(currency=currency, hourly_rate=Decimal(1250))
    assert f'value="{shown}"' in client.get(PAGE).content.decode()


@pytest.mark.parametrize(
    ("currency", "step", "answer"),
    [
        ("EUR", "0.05", 302),
        ("EUR", "0.005", 200),
        ("JPY", "5", 302),
        ("JPY", "0.5", 200),
    ],
)
def test_cash_is_rounded_to_what_the_currency_can_say(
    client, owner, currency, step, answer
):
    make.shop(currency=currency, rounding_step=Decimal(0))
    assert save(client, cash_step=step).status_code == answer


@pytest.mark.parametrize(("code", "places"), [("RSD", 2), ("ISK", 0), ("TND", 3)])
def test_a_bill_has_the_decimals_of_iso_not_those_of_the_coins_in_use(code, places):
    """ISO 4217, list one (from memory)."""
    assert currencies.places(code) == places


def test_whoever_is_not_the_owner_sees_and_changes_nothing(client, db):
    client.force_login(make.user(role="counter"))
    assert client.get(PAGE).status_code == 403
    assert client.post(PAGE, {"name": "Mine"}).status_code == 403
    assert client.get(f"{PAGE}examples/").status_code == 403
    assert not Shop.objects.exists()


@pytest.mark.django_db
def test_a_record_keeps_its_currency_when_the_shop_changes_its_own():
    class Record(currencies.InCurrency):
        currency = "JPY"

    shop = make.shop(currency="EUR")
    written_in = Record().written_in(shop)
    assert (written_in.currency, written_in.locale) == ("JPY", shop.locale)
    assert Record().places == written_in.places == 0
