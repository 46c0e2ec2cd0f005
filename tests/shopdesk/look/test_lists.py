"""Every list as a file: as filtered, with numbers and dates, and no formulas."""

import csv
from datetime import date
from decimal import Decimal
from io import BytesIO, StringIO

import openpyxl
import pytest
from django.urls import reverse

from billing.invoices.issuing import issue_invoice
from shopdesk.recording.models import TrailEntry
from shopdesk.spreadsheet import sheets
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db
LISTS = (
    *("mail:outbox", "staff:people", "faults:book", "faults:symptoms"),
    *("customers:all", "customers:models", "stock:parts", "bench:list"),
    *("bench:finished", "reminders:outstanding", "invoices:all", "quotes:all"),
)


def rows(response):
    assert "attachment" in response["Content-Disposition"]
    return list(csv.DictReader(StringIO(response.getvalue().decode())))


def test_every_list_is_sent_as_csv_and_xlsx(client):
    client.force_login(make.user())
    issue_invoice(till.ready(), stamp=make.stamp(on=till.TODAY))
    filled = 0
    for name in LISTS:
        page = client.get(reverse(name))
        table = page.context["table"]
        as_csv = rows(client.get(reverse(name), {"as": "csv"}))
        book = client.get(reverse(name), {"as": "xlsx"}).getvalue()
        sheet = list(openpyxl.load_workbook(BytesIO(book)).active.values)
        heads = [str(column.header) for column in table.columns]
        left_out = {"Action"} & set(heads)
        added = ["Currency"] if sheet[0][-1] == "Currency" else []
        expected = [head for head in heads if head not in left_out]
        assert list(sheet[0]) == expected + added, name
        assert len(as_csv) == len(sheet) - 1 == table.paginator.count, name
        assert ("?as=csv" in page.text) == bool(as_csv), name
        filled += bool(as_csv)
    assert filled >= 6
    assert TrailEntry.objects.filter(action="downloaded").count() == 2 * len(LISTS)


def test_numbers_and_dates_are_such_and_text_is_no_formula(client):
    client.force_login(make.user())
    owner = make.customer("=1+1")
    issue_invoice(till.ready(of=make.device(owner)), stamp=make.stamp(on=till.TODAY))
    book = client.get(reverse("invoices:all"), {"as": "xlsx"}).getvalue()
    heads, row = openpyxl.load_workbook(BytesIO(book)).active.iter_rows()
    cells = {head.value: cell for head, cell in zip(heads, row, strict=True)}
    assert cells["Issued"].value.date() == date(2026, 3, 5)
    assert cells["Total"].value == 70.8
    assert cells["Bill to"].value == "=1+1" and cells["Bill to"].data_type == "s"
    (line,) = rows(client.get(reverse("invoices:all"), {"as": "csv"}))
    assert Decimal(line["Total"]) == Decimal("70.8") and line["Bill to"] == "'=1+1"


def test_a_file_has_all_rows_of_the_filter_and_only_those(client):
    client.force_login(make.user())
    for number in range(60):
        make.fault(f"PWR-{number:03}", area="power" if number % 2 else "audio")
    found = rows(client.get(reverse("faults:book"), {"as": "csv", "area": "power"}))
    assert len(found) == 30 and {row["Area"] for row in found} == {"power"}


def test_a_file_needs_the_password_of_the_last_minutes(client):
    client.force_login(make.user())
    session = client.session
    session["confirmed"] = 0
    session.save()
    page = reverse("customers:all")
    assert client.get(page).status_code == 200
    asked = client.get(page, {"as": "csv"})
    assert asked.status_code == 302 and reverse("staff:confirm") in asked.url


def test_amounts_in_several_currencies_are_numbers_with_their_currency(client):
    client.force_login(make.user())
    issue_invoice(till.ready(), stamp=make.stamp(on=till.TODAY))
    make.shop(currency="CHF")
    issue_invoice(till.ready(), stamp=make.stamp(on=till.TODAY))
    for name, heads in (
        ("invoices:all", ("Total", "Balance due")),
        ("quotes:all", ("Price",)),
        ("reminders:outstanding", ("Balance due",)),
    ):
        found = rows(client.get(reverse(name), {"as": "csv"}))
        assert {row["Currency"] for row in found} == {"EUR", "CHF"}, name
        for head in heads:
            assert {Decimal(row[head]) for row in found} == {Decimal("70.8")}, name
    # A list in one currency has no such column.
    [part, *_] = rows(client.get(reverse("stock:parts"), {"as": "csv"}))
    assert "Currency" not in part


def test_what_a_sheet_cannot_hold_is_on_the_next_one(monkeypatch):
    monkeypatch.setattr("shopdesk.spreadsheet.MAX_ROWS", 2)
    book = openpyxl.load_workbook(BytesIO(sheets({"List": (["n"], [[1], [2], [3]])})))
    assert [sheet.title for sheet in book] == ["List", "List 2"]
    assert [list(sheet.values) for sheet in book] == [
        [("n",), (1,), (2,)],
        [("n",), (3,)],
    ]
