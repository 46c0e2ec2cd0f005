"""Whom and what the words typed at the counter may mean."""

from repairs.customers.models import Customer, Device, DeviceModel
from shopdesk.fields import plain

MOST = 8
"""More people or devices than this are no list to choose from."""


def found_customers(words):
    """Some of those whom these words may mean."""
    if len(plain(words)) < 2:
        return []
    return list(Customer.objects.called(words).with_last_visit()[:MOST])


def found_devices(words):
    """The devices whose serial this is."""
    return list(Device.objects.with_serial(words).for_rows()[:MOST])


def alike_customers(*, name, phone, email):
    return list(
        Customer.objects.like(name=name, phone=phone, email=email).with_last_visit()[
            :MOST
        ]
    )


def near_devices(serial):
    """Devices with this serial, or one that is easily misread for it."""
    known = Device.objects.with_serial(serial).for_rows()
    return [*known[:MOST], *Device.objects.nearly_serial(serial).for_rows()[:MOST]]


def names_so_far():
    """What kinds, makers and models are called so far, for boxes that offer them."""
    rows = DeviceModel.objects.values_list("kind", "maker", "model")
    kinds, makers, models = set(), set(), set()
    for kind, maker, model in rows:
        kinds.add(kind)
        makers.add(maker)
        models.add(model)
    return {
        "kinds": sorted(kinds),
        "makers": sorted(makers - {""}),
        "models": sorted(models),
    }
