"""A new database for processes of their own, of the kind that the tests use."""

import os
import shutil
from contextlib import contextmanager
from uuid import uuid4

from django.db import connection


@contextmanager
def new_database(folder, *, like_this=False):
    """The environment of processes that use a new database of the same kind.

    It is empty, or with `like_this` a copy of the database in use.
    """
    env = os.environ | {
        "SHOPDESK_DATA": str(folder / "data"),
        "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        "DJANGO_ALLOW_ASYNC_UNSAFE": "1",
    }
    if connection.vendor == "sqlite":
        env.pop("DATABASE_URL", None)
        if like_this:
            (folder / "data").mkdir()
            connection.close()
            source = connection.settings_dict["NAME"]
            shutil.copyfile(source, folder / "data" / "desk.sqlite3")
        yield env
        return
    this = connection.settings_dict["NAME"]
    name = f"test_migrate_{uuid4().hex}"
    url, _, parameters = os.environ["DATABASE_URL"].partition("?")
    env["DATABASE_URL"] = f"{url.rpartition('/')[0]}/{name}?{parameters}"
    with connection._nodb_cursor() as cursor:
        like = ""
        if like_this:
            connection.close()
            like = f" TEMPLATE {connection.ops.quote_name(this)}"
        cursor.execute(f"CREATE DATABASE {name}{like}")
        yield env
        cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")
