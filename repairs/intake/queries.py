"""Customers and devices that an entry at the counter may mean."""

from repairs.customers.models import Customer, Device, DeviceModel
from shopdesk.lookup import normalize_search

MAX_OFFERED = 8
"""Customers or devices offered to choose from."""
MAX_DEVICES = 30
"""Devices of one customer offered to choose from."""


def find_customers(query: str) -> list[Customer]:
    if len(normalize_search(query)) < 2:
        return []
    return list(Customer.objects.containing(query).for_list()[:MAX_OFFERED])


def find_devices(serial: str) -> list[Device]:
    """The devices of exactly this serial number."""
    return list(Device.objects.with_serial(serial).for_list()[:MAX_OFFERED])


def devices_of(owner: Customer) -> list[Device]:
    return list(owner.devices.for_list()[:MAX_DEVICES])


def similar_customers(name: str, phone: str, email: str) -> list[Customer]:
    similar = Customer.objects.similar(name=name, phone=phone, email=email)
    return list(similar.for_list()[:MAX_OFFERED])


def similar_devices(serial: str) -> list[Device]:
    """Devices with this serial number or one easily confused with it."""
    misread = Device.objects.similar_serial(serial).for_list()
    return [*find_devices(serial), *misread[:MAX_OFFERED]]


def name_suggestions() -> dict[str, list[str]]:
    """The kinds, makers and models on record, for boxes that suggest them."""
    rows = list(DeviceModel.objects.values_list("kind", "maker", "model"))
    return {
        name: sorted({row[column] for row in rows} - {""})
        for column, name in enumerate(("kinds", "makers", "models"))
    }
