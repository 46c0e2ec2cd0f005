"""What every page costs the database before it asks for anything of its own."""

import pytest
from django.urls import reverse

from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make


@pytest.fixture
def owner(client, db):
    client.force_login(make.user(Role.OWNER))
    return client


def test_a_page_asks_for_the_session_the_user_and_the_shop_once_each(
    owner, django_assert_num_queries
):
    make.shop()
    with django_assert_num_queries(3) as asked:
        owner.get(reverse("look"))
    tables = [str(query["sql"]).split('FROM "')[1].split('"')[0] for query in asked]
    assert tables == ["shopdesk_session", "shopdesk_user", "shopdesk_shop"]


def test_an_answer_without_a_page_does_not_load_the_shop(
    owner, django_assert_num_queries
):
    with django_assert_num_queries(2):  # session and user
        assert owner.get(reverse("staff:sign_in")).status_code == 302


def test_the_next_request_sees_a_change_of_the_shop(owner):
    make.shop(name="First name")
    assert "First name" in owner.get(reverse("look")).text
    Shop.objects.update(name="Second name")
    assert "Second name" in owner.get(reverse("look")).text
