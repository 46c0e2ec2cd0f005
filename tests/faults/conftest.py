"""A shop in which several people work, its real server, and what they save."""

import os
from contextlib import contextmanager

import pytest
from django.db import connection

from tests.faults.busy_shop import fill_shop
from tests.shopdesk.serving.conftest import Server


def database_url():
    """The address of the database that the tests use now, for another process."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    server, _, parameters = os.environ["DATABASE_URL"].partition("?")
    return f"{server.rpartition('/')[0]}/{name}?{parameters}"


@contextmanager
def busy_shop(databases, blocker):
    """Use a shop with work in progress; what is committed to it is its own."""
    with blocker.unblock(), databases.copy("busy", fill_shop, of="migrated"):
        yield


@pytest.fixture
def shop(databases, django_db_setup, django_db_blocker):
    """A shop for one test."""
    with busy_shop(databases, django_db_blocker):
        yield


@pytest.fixture
def server(shop, tmp_path):
    """The server of that shop, not started yet; it is stopped after the test."""
    with server_of_shop(tmp_path) as server:
        yield server


@contextmanager
def server_of_shop(data, **settings):
    server = Server(data, DATABASE_URL=database_url(), **settings)
    try:
        yield server
    finally:
        server.stop()
