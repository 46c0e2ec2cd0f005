"""What SQLite's search indexes know: texts of last night, and none that was erased."""

import pytest
from django.db import connection

from repairs.customers.models import Customer
from shopdesk.lookup import CHANGED, renew_search_indexes
from tests import make

RARE = "Жщюжщю"
"""A name whose letters are in no other text."""


@pytest.mark.django_db
def test_a_text_is_found_at_once_and_under_its_new_name_only():
    customer = make.customer("Tamsin Fenbrook")
    renew_search_indexes()
    make.customer("Odette Fenbrook")
    found = Customer.objects.search("fenbrook")
    assert [c.name for c in found] == ["Odette Fenbrook", "Tamsin Fenbrook"]
    customer.name = "Tamsin Caldley"
    customer.save()
    assert [c.name for c in Customer.objects.search("caldley")] == ["Tamsin Caldley"]
    assert not Customer.objects.search("tamsin fenbrook")


@pytest.mark.django_db
@pytest.mark.parametrize("words", ['"', "a\"b'c", "%%%", "___", "NEAR(", "tam OR sin"])
def test_signs_of_a_query_language_are_only_text(words):
    make.customer("Tamsin Fenbrook")
    renew_search_indexes()
    assert not Customer.objects.search(words)


@pytest.mark.django_db
@pytest.mark.once
def test_nothing_of_an_erased_name_stays_in_the_index():
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL removes dead entries of its indexes by itself")
    customer = make.customer(RARE)
    renew_search_indexes()
    assert _holds(RARE)
    customer.name = "Erased"
    customer.save()
    renew_search_indexes()
    assert not _holds(RARE)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {CHANGED}")
        assert cursor.fetchone() == (0,)


def _holds(name):
    part = name.casefold()[1:3].encode()
    with connection.cursor() as cursor:
        cursor.execute("SELECT block FROM search_customer_data")
        return any(part in bytes(block) for (block,) in cursor.fetchall())
