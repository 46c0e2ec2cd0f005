"""Lists and searches of a large shop: how often they ask, and what is read for it.

Milliseconds are measured by tests/benchmarks/pages.py.
"""

import json
import re
from contextlib import contextmanager

import pytest
from django.db import connection, transaction
from django.test import Client

from shopdesk.keeping.search_indexes import create_search_indexes
from shopdesk.staff.models import User
from tests.benchmarks import large_shop

LARGE = {"repairs_job", "repairs_customer", "repairs_device", "billing_invoice"}
# The list of customers is counted and walked along its own index, which is no table.
MAY_WALK = {"customer_list"}
LISTS = ["/customers/", "/bench/", "/bench/?where=open", "/till/invoices/?status=all"]


@transaction.atomic
def fill():
    large_shop.fill_shop(1200)


@pytest.fixture(scope="module")
def shop(databases, django_db_setup, django_db_blocker):
    with (
        django_db_blocker.unblock(),
        databases.copy("large", fill, of="migrated"),
    ):
        yield


@pytest.fixture
def desk(shop, db):
    client = Client()
    client.force_login(User.objects.get(username="ferris"))
    return client


@contextmanager
def queries():
    """Collect each SELECT with its parameters."""
    found = []

    def note(execute, sql, params, many, context):
        if sql.startswith("SELECT"):
            found.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        yield found


def full_scans(sql, params):
    """Return the large tables that the database reads from end to end."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f"EXPLAIN QUERY PLAN {sql}", params)
            steps = [row[3] for row in cursor.fetchall()]
            scans = (re.match(r"SCAN (\w+)(?:.* INDEX (\w+))?", s) for s in steps)
            names = dict(re.findall(r'"(\w+)"(?: AS)? "?([UVW]\d+)', sql))
            tables = {alias: table for table, alias in names.items()}
            return {
                tables.get(scan[1], scan[1]) for scan in scans if scan
                and scan[2] not in MAY_WALK
            } & LARGE  # fmt: skip
        # In a shop as small as this one, PostgreSQL would rather read all.
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute(f"EXPLAIN (FORMAT JSON) {sql}", params)
        plan = cursor.fetchone()[0]
    plan = json.loads(plan) if isinstance(plan, str) else plan
    return set(_sequential(plan[0]["Plan"])) & LARGE


def _sequential(node):
    if node["Node Type"] == "Seq Scan":
        yield node["Relation Name"]
    for part in node.get("Plans", ()):
        yield from _sequential(part)


@pytest.mark.parametrize(
    "path",
    [
        *("/customers/", "/customers/?page=12", "/customers/?q=brook"),
        *("/bench/", "/find/?q=brook", "/find/?q=0412", "/find/?q=SN00123"),
        *("/find/?q=030+0000123", "/find/?q=quetzal"),
    ],
)
def test_no_large_table_is_read_from_end_to_end(desk, path):
    with queries() as found:
        assert desk.get(path).status_code == 200
    scans = {sql[:300]: full_scans(sql, params) for sql, params in found}
    assert not {sql: tables for sql, tables in scans.items() if tables}
    assert sum("repairs_" in sql for sql in scans) >= 1


@pytest.mark.parametrize("path", LISTS)
def test_a_list_asks_as_often_for_one_row_as_for_a_hundred(desk, path):
    sign = "&" if "?" in path else "?"
    counts = []
    for rows in (1, 100):
        with queries() as found:
            page = desk.get(f"{path}{sign}per_page={rows}").content.decode()
        assert page.count('<th scope="row"') == rows
        counts.append(len(found))
    assert counts[0] == counts[1] <= 12


def test_a_search_is_found_by_an_index_and_a_scan_would_be_noticed(desk):
    """The check above can fail: without the index, the scan is reported."""
    sql = 'SELECT "number" FROM "repairs_job" WHERE "accessories" = %s'
    assert full_scans(sql, ["x"]) == {"repairs_job"}


def test_search_indexes_can_be_created_again(desk):
    create_search_indexes("default")
    assert "Customers" in desk.get("/find/?q=brook").content.decode()
