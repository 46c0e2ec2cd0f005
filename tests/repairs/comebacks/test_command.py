import csv
import io
import json
from datetime import date, timedelta

import pikepdf
import pytest
import time_machine
from django.core.management import call_command
from django.core.management.base import CommandError

from repairs.comebacks.comeback_table import COLUMNS
from tests import make

pytestmark = pytest.mark.django_db
COLUMN_NAMES = [column.file_name for column in COLUMNS.values()]
ON = date(2026, 1, 10)
AS_OF = "--as-of=2026-06-01"


@pytest.fixture(autouse=True)
def _today():
    """All tests run on one day."""
    with time_machine.travel("2026-06-20T10:00:00+00:00", tick=False):
        yield


def run(*options):
    out = io.StringIO()
    call_command("comebacks", *options, stdout=out)
    return out.getvalue()


@pytest.fixture
def pairs():
    """Three pairs, one of which comes back."""
    fault = make.fault(code="AMP-RELAY-WORN")
    fixes = [make.fix(fault, code=code) for code in ("CLEAN", "REPLACE", "BYPASS")]
    for number, fix in enumerate(fixes):
        for n in range(15):
            back = ON + timedelta(days=n + 20) if number == 0 and n % 2 else None
            make.past_repair(fault, fix, on=ON + timedelta(days=n), back_on=back)
    return fault, fixes


def test_json_has_one_object_per_pair_with_the_columns_in_order(pairs):
    rows = json.loads(run(AS_OF, "--within=90", "--format=json"))
    assert [list(row) for row in rows] == [COLUMN_NAMES] * 3
    first = rows[0]
    assert (first["fault"], first["fix"]) == ("AMP-RELAY-WORN", "CLEAN")
    assert (first["repairs"], first["returned"], first["judged"]) == (15, 7, 15)
    assert first["verdict"] == "comes back"


def test_csv_and_json_have_the_same_figures(pairs):
    sheet = list(csv.DictReader(io.StringIO(run(AS_OF, "--format=csv"))))
    rows = json.loads(run(AS_OF, "--format=json"))
    assert [list(row) for row in sheet] == [COLUMN_NAMES] * 3
    for line, row in zip(sheet, rows, strict=True):
        for name, value in row.items():
            cell = line[name]
            assert cell == value if isinstance(value, str) else float(cell) == value


def test_the_table_fits_a_hundred_columns_and_loses_no_figure(pairs):
    long = make.fault(code="A-VERY-LONG-CODE-OF-A-FAULT-THAT-GOES-ON")
    make.past_repair(long, make.fix(long, code="AND-ITS-FIX-IS-NO-SHORTER"), on=ON)
    text = run(AS_OF)
    assert max(map(len, text.splitlines())) <= 100
    assert "7 of 15" in text
    assert "AMP-RELAY-WORN" in text
    assert "performs like a stopgap; recorded as lasting; 7 of 15" in " ".join(
        text.split()
    )
    assert "Ranges are approximate." in text


def test_an_empty_shop_has_an_empty_table():
    assert json.loads(run(AS_OF, "--format=json")) == []
    assert run(AS_OF, "--format=csv").strip() == ",".join(COLUMN_NAMES)
    assert "No fixed repairs handed over by that day." in run(AS_OF)


@pytest.mark.paper
def test_the_report_is_an_accessible_pdf(pairs, tmp_path):
    file = tmp_path / "comebacks.pdf"
    run(AS_OF, f"--pdf={file}")
    with pikepdf.open(file) as paper:
        assert paper.docinfo["/Title"] == "Comebacks as of 1 Jun 2026"
        assert paper.Root.MarkInfo.Marked
    made = file.read_bytes()
    run(AS_OF, f"--pdf={file}")
    assert file.read_bytes() == made


def test_a_report_that_cannot_be_written_is_reported(pairs, tmp_path):
    with pytest.raises(CommandError, match="could not be written") as refused:
        run(AS_OF, f"--pdf={tmp_path / 'nowhere' / 'comebacks.pdf'}")
    assert refused.value.returncode == 1


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--as-of=2026-13-01"], "Enter the date as year-month-day"),
        (["--as-of=2026-06-21"], "2026-06-21: This date is in the future."),
        (["--as-of=0001-01-01"], "Enter a date between 1990-01-01 and today."),
        (["--within=0"], "Enter at least 1 day"),
        (["--within=soon"], "whole number"),
    ],
)
def test_invalid_options_are_refused_as_on_the_page(options, sentence):
    with pytest.raises(CommandError, match=sentence) as refused:
        run(*options)
    assert refused.value.returncode == 2


def test_the_default_period_is_the_shop_setting(pairs):
    make.shop(comeback_period_days=14)
    assert "within 14 days as of 2026-06-01: 0 of 45" in run(AS_OF)
    assert "within 20 days as of 2026-06-01: 7 of 45" in run(AS_OF, "--within=20")
