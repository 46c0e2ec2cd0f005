"""Stored phone numbers after the shop's country has changed.

A number typed without a country code was stored with that of the shop's country at that
time. It is not stored how it was typed, so the owner chooses which to convert.
"""

from collections.abc import Collection
from dataclasses import dataclass

import phonenumbers
from django.db import transaction

from repairs.customers.fields import phone_of
from repairs.customers.models import Customer
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class PhoneConversion:
    """A number with the code of the former country, and what it would become.

    `new` is empty if what was dialled there is no number in the shop's country.
    """

    customer: Customer
    new: str


def conversions(former: str, *, shop: Shop) -> list[PhoneConversion]:
    """Return the numbers that could have been typed without a country code."""
    code = phonenumbers.country_code_for_region(former)
    if not code or code == phonenumbers.country_code_for_region(shop.country):
        return []
    found = Customer.objects.filter(phone__startswith=f"+{code}").order_by("name", "pk")
    return [
        PhoneConversion(customer, _as_dialled(customer.phone, country=shop.country))
        for customer in found
        if phonenumbers.parse(customer.phone).country_code == code
    ]


def _as_dialled(number: str, *, country: str) -> str:
    """Return what the digits dialled within its own country mean in another one."""
    national = phonenumbers.PhoneNumberFormat.NATIONAL
    dialled = phonenumbers.format_number(phonenumbers.parse(number), national)
    return phone_of(dialled, country=country)


@transaction.atomic
def convert(chosen: Collection[int], *, former: str, shop: Shop) -> int:
    """Convert the numbers of the chosen customers; return how many changed."""
    changed = 0
    for one in conversions(former, shop=shop):
        if one.new and one.customer.pk in chosen:
            customer = Customer.objects.select_for_update().get(pk=one.customer.pk)
            if customer.phone == one.customer.phone:
                customer.phone = one.new
                customer.save()
                changed += 1
    return changed
