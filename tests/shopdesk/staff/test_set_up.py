import threading

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from shopdesk.management.commands import add_owner
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role, User
from tests import make
from tests.shopdesk.staff.conftest import PASSWORD

PAGE = "/staff/set-up/"
TOLD = {
    "shop_name": "Fern Lane",
    "name": "Olga Marsh",
    "username": "Olga",
    "password": PASSWORD,
    "again": PASSWORD,
}


def test_a_new_shop_has_nobody_in_it(db):
    assert not User.objects.exists()


def test_the_first_visitor_sets_up_the_shop_and_is_in(client, db):
    assert client.get(PAGE).status_code == 200
    response = client.post(PAGE, TOLD)
    assert response.url == "/shop/set-up/"
    owner = User.objects.get()
    assert (owner.username, owner.role) == ("olga", Role.OWNER)
    assert Shop.current().name == "Fern Lane"
    assert client.get("/staff/").status_code == 200


def test_afterwards_there_is_no_such_page(client, db):
    make.user()
    assert client.get(PAGE).status_code == 404
    assert Client().post(PAGE, TOLD).status_code == 404
    assert User.objects.count() == 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"shop_name": ""},
        {"username": "two words"},
        {"username": ""},
        {"password": "short", "again": "short"},
        {"password": "Fern Lane Olga 2026", "again": "Fern Lane Olga 2026"},
        {"again": "another"},
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_made(client, db, wrong):
    if "Fern" in wrong.get("password", ""):
        make.shop(name="Fern Lane")
    response = client.post(PAGE, TOLD | wrong)
    assert response.status_code == 200 and response.context["form"].errors
    assert 'value="Olga Marsh"' in response.content.decode()
    assert not User.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_two_first_visitors_at_once_one_becomes_the_owner():
    ready, answers = threading.Barrier(2), []

    def visit(name):
        client = Client()
        ready.wait()
        try:
            response = client.post(PAGE, TOLD | {"username": name, "name": name})
            answers.append(response.status_code)
        finally:
            connection.close()

    threads = [threading.Thread(target=visit, args=[n]) for n in ("anna", "bert")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [302, 404]
    assert User.objects.count() == 1


# --- manage.py add_owner --------------------------------------------------------


@pytest.fixture
def typed(monkeypatch):
    """What is typed where the password is asked for."""

    def type_in(*answers):
        left = iter(answers)
        monkeypatch.setattr(add_owner, "getpass", lambda prompt: next(left))

    return type_in


def test_the_command_adds_an_owner(db, typed, capsys):
    typed(PASSWORD, PASSWORD)
    call_command("add_owner", "Olga")
    owner = User.objects.get()
    assert owner.role == Role.OWNER and owner.check_password(PASSWORD)
    assert "olga" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("name", "answers"),
    [
        ("olga", ["short", "short"]),
        ("olga", [PASSWORD, "another one altogether"]),
        ("two words", [PASSWORD, PASSWORD]),
        ("taken", [PASSWORD, PASSWORD]),
    ],
)
def test_the_command_refuses_with_exit_code_one(db, typed, name, answers):
    make.user(username="taken")
    typed(*answers)
    with pytest.raises(CommandError) as refused:
        call_command("add_owner", name)
    assert refused.value.returncode == 1
    assert User.objects.count() == 1


def test_the_command_called_off_adds_nobody(db, monkeypatch):
    def call_off(prompt):
        raise EOFError

    monkeypatch.setattr(add_owner, "getpass", call_off)
    with pytest.raises(CommandError):
        call_command("add_owner", "olga")
    assert not User.objects.exists()
