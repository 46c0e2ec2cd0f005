"""The shop's country decides what a number without a country code means."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from repairs.customers.fields import PhoneField
from repairs.customers.models import Customer
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.shopdesk.shop.page import PAGE, as_typed

pytestmark = pytest.mark.django_db
PHONES = "customers:phones"


def test_a_change_of_country_offers_the_numbers_that_it_may_concern(client):
    make.shop(country="GB")
    make.customer("Ada Fenwick", phone="+441632960999")
    make.customer("Bo Kestrel", phone="+441632960555")  # typed with +44
    make.customer("Cy Orrin", phone="+33123456789")
    make.customer("Di Tarn", phone="")
    client.force_login(make.user())
    answer = client.post(PAGE, as_typed(country="DE"))
    page = reverse(PHONES) + "?from=GB"
    assert answer.url == page
    shown = client.get(page)
    assert [(one.customer.phone, one.new) for one in shown.context["shown"]] == [
        ("+441632960999", "+491632960999"),
        ("+441632960555", "+491632960555"),
    ]
    assert "not stored how a number was typed" in shown.text
    assert "Tick the numbers" in client.post(page).text
    ada = Customer.objects.get(name="Ada Fenwick")
    client.post(page, {"chosen": [str(ada.pk), "999", "x"]})
    assert list(Customer.objects.order_by("name").values_list("phone", flat=True)) == [
        "+491632960999", "+441632960555", "+33123456789", "",
    ]  # fmt: skip
    assert len(client.get(page).context["shown"]) == 1
    # Only a change of the country leads there.
    assert client.post(PAGE, as_typed(name="Fern Lane")).url == PAGE
    client.force_login(make.user(Role.COUNTER))
    assert client.get(page).status_code == 403


def test_countries_with_the_same_code_and_impossible_numbers_stay(client):
    make.shop(country="CA")
    make.customer(phone="+12125550123")
    make.customer("Bo Kestrel", phone="+49301234567890")
    client.force_login(make.user())
    assert client.get(reverse(PHONES) + "?from=US").context["shown"] == []
    [one] = client.get(reverse(PHONES) + "?from=DE").context["shown"]
    assert one.new == ""
    client.post(reverse(PHONES) + "?from=DE", {"chosen": [one.customer.pk]})
    assert Customer.objects.get(pk=one.customer.pk).phone == "+49301234567890"
    assert client.get(reverse(PHONES) + "?from=QQ").status_code == 404


def test_before_set_up_a_number_needs_its_country_code():
    Shop.objects.create(pk=1, set_up_on=None)
    field = PhoneField()
    field.shop = Shop.current()
    with pytest.raises(ValidationError, match="not set up yet"):
        field.clean("01632 960999")
    assert field.clean("+44 1632 960999") == "+441632960999"
    make.shop(country="GB")
    field.shop = Shop.current()
    assert field.clean("01632 960999") == "+441632960999"
