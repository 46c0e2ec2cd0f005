"""A job with a sent quote, and its customer before their own screen."""

from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from billing.quotes.links import create_link
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till


@pytest.fixture(autouse=True)
def shop(db):
    return make.shop(
        name="Fern Lane Electronics",
        phone="+441632960111",
        email="desk@fernlane.example",
    )


@pytest.fixture
def quote(shop):
    return till.sent(on=timezone.localdate())


@pytest.fixture
def customer(quote):
    return customer_of(quote.job)


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    return client


def customer_of(job, **address):
    """Somebody with a link to the job, and what they can do with it."""
    link, token = create_link(job, stamp=make.stamp(by=make.user()))
    where, client = reverse("link:page", args=[token]), Client(**address)

    def read():
        return client.get(where)

    def send(answer, page=None, **typed):
        """What a browser would send of the page that was read, and what was typed."""
        sent = boxes(page or read(), answer.split()[0])
        prefix = answer.split()[0]
        sent |= {f"{prefix}-{name}": value for name, value in typed.items()}
        return client.post(where, sent | {"answer": answer})

    return SimpleNamespace(
        link=link, token=token, where=where, client=client, read=read, send=send
    )


def boxes(page, prefix):
    names = {"yes": "accept_form", "no": "decline_form", "change": "change_form"}
    form = page.context[names[prefix]]
    first = {
        field.html_name: field.value() for field in form if field.value() is not None
    }
    if prefix == "yes":
        first |= {"yes-option": form.fields["option"].queryset[0].pk}
    return first
