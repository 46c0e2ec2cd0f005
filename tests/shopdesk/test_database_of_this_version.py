"""A database of an earlier version is named as such, not found out page by page."""

import os
import subprocess
import sys

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import connection

from repairs.jobs.models import Comeback
from shopdesk.checks import database_is_of_this_version

pytestmark = pytest.mark.django_db


def checked():
    return database_is_of_this_version(databases=["default"])


def test_the_database_of_this_version_is_fine():
    assert checked() == []
    call_command("check", databases=["default"])


def test_a_column_that_is_not_there_is_named():
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE repairs_accesscode")
        cursor.execute("CREATE TABLE repairs_accesscode (id integer)")
    [error] = checked()
    assert "set up before release 1.0" in error.msg
    assert "of repairs_accesscode." in error.msg
    assert str(connection.settings_dict["NAME"]) in error.hint
    with pytest.raises(SystemCheckError, match="before release 1.0"):
        call_command("migrate", verbosity=0, skip_checks=False)


def test_a_table_that_is_not_there_is_named():
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE {Comeback._meta.db_table}")
    assert "lacks the table repairs_comeback" in checked()[0].msg


def test_a_database_with_nothing_in_it_is_fine(tmp_path):
    told = subprocess.run(
        [sys.executable, "manage.py", "check", "--database", "default"],
        cwd=settings.BASE_DIR,
        env={**os.environ, "SHOPDESK_DATA": str(tmp_path), "DATABASE_URL": ""},
        capture_output=True,
        text=True,
    )
    assert (told.returncode, told.stderr) == (0, "")


def test_nothing_is_asked_where_no_database_is_named():
    assert database_is_of_this_version() == []
