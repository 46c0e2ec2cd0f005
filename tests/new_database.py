"""A new database for processes of their own, of the kind that the tests use."""

import os
from contextlib import contextmanager
from uuid import uuid4

from django.db import connection


@contextmanager
def new_database(folder):
    """The environment of processes that use a new database of the same kind."""
    env = os.environ | {
        "SHOPDESK_DATA": str(folder / "data"),
        "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        "DJANGO_ALLOW_ASYNC_UNSAFE": "1",
    }
    if connection.vendor == "sqlite":
        env.pop("DATABASE_URL", None)
        yield env
        return
    name = f"test_migrate_{uuid4().hex}"
    url, _, parameters = os.environ["DATABASE_URL"].partition("?")
    env["DATABASE_URL"] = f"{url.rpartition('/')[0]}/{name}?{parameters}"
    with connection._nodb_cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {name}")
        yield env
        cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")
