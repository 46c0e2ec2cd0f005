"""From an empty database to the first invoice, in each country with a preset."""

from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from billing.invoices.issuing import issue_invoice
from billing.invoices.payments import record_deposit
from shopdesk.errors import IncompleteError
from shopdesk.shop.middleware import ShopMiddleware
from shopdesk.shop.models import Shop
from shopdesk.shop.presets import with_preset
from shopdesk.shop.tax import ABROAD, Buyer
from tests import make
from tests.billing import till
from tests.papers import text_of
from tests.sent_forms import typed_in
from tests.shopdesk.shop.page import PAGE, as_typed
from tests.shopdesk.staff.test_set_up import PAGE as FIRST_PAGE
from tests.shopdesk.staff.test_set_up import TOLD

pytestmark = pytest.mark.django_db

ANSWERS = {
    "address": "1 Quay Street\nLower Hythe",
    "is_registered": "yes",
    "tax_rate": "10",
    "tax_id": "123 456",
    "hourly_rate": "60",
    "hourly_cost": "30",
    "diagnosis_fee": "20",
    "return_shipping_price": "8",
}
ON_THE_INVOICE = {
    "GB": ("£", "Includes 10 % VAT"),
    "US": ("$", "Sales tax 10 %"),
    "DE": ("€", "Enthaltene USt, 10 %"),
    "FR": ("€", "Includes 10 % TVA"),
    "JP": ("¥", "Includes 10 % Consumption tax"),
}


def set_up(client, country, **answers):
    page = f"{reverse('shop:set_up')}?country={country}"
    return client.post(page, typed_in(client.get(page)) | ANSWERS | answers)


@pytest.mark.parametrize("country", ON_THE_INVOICE)
def test_each_preset_leads_to_a_first_invoice(client, country):
    assert set(with_preset()) == set(ON_THE_INVOICE)
    assert client.post(FIRST_PAGE, TOLD).url == reverse("shop:set_up")
    job = till.diagnosed()
    with pytest.raises(IncompleteError, match="not set up"):
        till.drafting.draft(job, stamp=make.stamp(on=till.TODAY))
    with pytest.raises(IncompleteError, match="not set up"):
        record_deposit(
            job,
            amount=Decimal(5),
            means="cash",
            key=uuid4(),
            stamp=make.stamp(on=till.TODAY),
        )
    assert "Before your first invoice" in client.get("/").text
    response = set_up(client, country)
    assert response.status_code == 302, response.context["form"].errors
    invoice = issue_invoice(till.ready(), stamp=make.stamp(on=till.TODAY))
    paper = " ".join(text_of(bytes(invoice.pdf)).split())
    sign, tax = ON_THE_INVOICE[country]
    assert sign in paper and tax in paper
    assert Shop.current().name == TOLD["shop_name"]


def test_nothing_about_tax_is_assumed(client):
    client.force_login(make.user())
    wrong = set_up(client, "GB", tax_rate="", tax_id="", hourly_rate="").context["form"]
    assert set(wrong.errors) == {"tax_rate", "tax_id", "hourly_rate"}
    assert not Shop.objects.exists()
    set_up(client, "GB", is_registered="no", tax_rate="", tax_id="")
    invoice = issue_invoice(till.ready(), stamp=make.stamp(on=till.TODAY))
    assert invoice.tax == 0
    assert "Not registered for VAT" in text_of(bytes(invoice.pdf))


def test_a_us_shop_may_choose_tax_on_parts_only(client):
    client.force_login(make.user())
    page = f"{reverse('shop:set_up')}?country="
    assert not client.get(page + "US").context["form"].initial.get("taxes_parts_only")
    assert "taxes_parts_only" not in client.get(page + "GB").context["form"].fields
    only = {"taxes_parts_only": "on", "no_tax_reason": ""}
    wrong = set_up(client, "US", **only).context["form"].errors
    assert list(wrong) == ["no_tax_reason"]
    set_up(client, "US", **only | {"no_tax_reason": "Labour is not taxed"})
    invoice = issue_invoice(till.ready(), stamp=make.stamp(on=till.TODAY))
    # 60.00 an hour: 45.00 of labour; two sockets at 4.00, 10 % of them is 0.80.
    assert (invoice.net, invoice.tax) == (53, Decimal("0.80"))
    assert "Labour is not taxed" in text_of(bytes(invoice.pdf))


def test_a_german_shop_may_choose_reverse_charge_abroad(client):
    client.force_login(make.user())
    set_up(client, "DE", reverse_charge_abroad="on")
    rules = Shop.current().tax_rules(till.TODAY)
    assert rules.of("part", Buyer(ABROAD)).kind == "reverse"
    assert rules.of("part", Buyer()).rate == 10


def test_the_currency_is_locked_once_there_is_an_amount(client):
    client.force_login(make.user())
    make.shop(currency="EUR")
    make.part(on_hand=1, unit_cost=Decimal("2.50"))
    form = client.post(PAGE, as_typed(currency="USD")).context["form"]
    assert "can no longer be changed" in form.errors["currency"][0]
    # Nor by setting the shop up, which is done once.
    assert client.get(reverse("shop:set_up")).url == reverse("shop:settings")
    assert Shop.current().currency == "EUR"


@time_machine.travel(datetime(2026, 3, 1, 20, tzinfo=UTC))
def test_a_day_ends_when_it_does_for_the_shop(rf):
    make.shop(time_zone="Asia/Tokyo")
    day = ShopMiddleware(lambda request: timezone.localdate())(rf.get("/"))
    assert (day, timezone.localdate()) == (date(2026, 3, 2), date(2026, 3, 1))
