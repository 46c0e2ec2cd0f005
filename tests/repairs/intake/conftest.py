from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from tests import make


class Counter:
    """The counter's one screen, as a browser without scripts sends it."""

    def __init__(self, client):
        self.client = client
        self.today = timezone.localdate()

    def press(self, step, key=None, **typed):
        """What comes of pressing a button of the form, with what was typed."""
        blank = {"customer": "", "device": "", "query": "", "complaint": ""}
        blank |= {
            "came_by": "counter",
            "data_access": "ask",
            "agreed_diagnosis_fee": "25",
        }
        typed = {name.replace("__", "-"): value for name, value in typed.items()}
        data = blank | {"key": key or uuid4(), "step": step} | typed
        return self.client.post(reverse("intake:book_in"), data)

    def book_in(self, customer, device, **typed):
        typed.setdefault("complaint", "Does not charge")
        return self.press("book", customer=customer.pk, device=device.pk, **typed)

    def past(self, device, *, days_ago, warranty_days=180, fault="Socket loose"):
        """A repair of `device` handed over so many days ago."""
        on = self.today - timedelta(days=days_ago)
        fault = make.fault(name=fault)
        repair = make.past_repair(fault, make.fix(fault), on=on, of=device)
        repair.warranty_until = on + timedelta(days=warranty_days)
        repair.warranty_days = warranty_days
        repair.save()
        return repair


@pytest.fixture
def counter(client, db):
    make.shop(country="GB")
    client.force_login(make.user("counter"))
    return Counter(client)
