"""A customer whose invoices have another tax."""

from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from repairs.customers.models import Customer
from shopdesk.shop import tax
from shopdesk.shop.models import TaxRate, TaxRule
from tests import make

pytestmark = pytest.mark.django_db


def change(client, customer, **entered):
    client.force_login(make.user())
    page = reverse("customers:change", args=[customer.pk])
    form = client.get(page).context["form"]
    shown = {name: form[name].value() or "" for name in form.fields}
    return client.post(page, shown | entered)


@pytest.mark.parametrize("kind", [tax.EXEMPT, tax.OUTSIDE, tax.ZERO, tax.STANDARD])
def test_a_kind_of_tax_is_saved_and_shown(client, kind):
    customer = make.customer()
    assert change(client, customer, tax_kind=kind).status_code == 302
    customer.refresh_from_db()
    assert customer.tax_kind == kind
    assert tax.LABELS[kind] in client.get(customer.get_absolute_url()).content.decode()
    assert change(client, customer, tax_kind="").status_code == 302
    assert Customer.objects.get().tax_kind == ""


@pytest.mark.parametrize("tax_id", ["", "123456789", "DE", "٣٤"])
def test_reverse_charge_needs_a_vat_number(client, tax_id):
    customer = make.customer()
    answer = change(
        client, customer, tax_kind=tax.REVERSE, tax_id=tax_id, notes="Keep me"
    )
    assert list(answer.context["form"].errors) == ["tax_id"]
    assert "Keep me" in answer.content.decode()
    assert Customer.objects.get().tax_kind == ""
    good = change(client, customer, tax_kind=tax.REVERSE, tax_id="ATU12345675")
    assert good.status_code == 302
    assert Customer.objects.get().tax_kind == tax.REVERSE


def test_a_kind_of_customer_under_reverse_charge_needs_one_too(client):
    TaxRule.objects.create(buyer=tax.ABROAD, kind=tax.REVERSE)
    customer = make.customer()
    answer = change(client, customer, buyer_kind=tax.ABROAD)
    assert list(answer.context["form"].errors) == ["tax_id"]
    good = change(client, customer, buyer_kind=tax.ABROAD, tax_id="ATU12345675")
    assert good.status_code == 302
    assert "business in another country" in client.get(customer.get_absolute_url()).text
    # The company alone makes a business, which the rule is not about.
    assert change(client, customer, buyer_kind="", company="Kestrel").status_code == 302
    customer.refresh_from_db()
    assert customer.as_buyer == tax.Buyer(tax.BUSINESS)


def test_a_reduced_rate_needs_a_rate_in_force(client):
    customer = make.customer()
    answer = change(client, customer, tax_kind=tax.REDUCED)
    assert list(answer.context["form"].errors) == ["tax_kind"]
    TaxRate.objects.create(
        kind=tax.REDUCED, rate=Decimal(7), starts_on=date(2026, 7, 1)
    )
    with time_machine.travel(date(2026, 6, 30)):
        assert change(client, customer, tax_kind=tax.REDUCED).status_code == 200
    with time_machine.travel(date(2026, 7, 1)):
        assert change(client, customer, tax_kind=tax.REDUCED).status_code == 302
    assert Customer.objects.get().tax_kind == tax.REDUCED


def test_an_unknown_kind_of_tax_is_refused(client):
    customer = make.customer()
    answer = change(client, customer, tax_kind="half")
    assert list(answer.context["form"].errors) == ["tax_kind"]
