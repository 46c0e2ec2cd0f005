from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from repairs.jobs.models import Job, Repair
from tests.repairs.history import files

pytestmark = pytest.mark.django_db

TOMORROW = timezone.localdate() + timedelta(days=1)


@pytest.mark.parametrize(
    ("column", "text", "message"),
    [
        ("job", "", "Required."),
        ("job", "9" * 41, "Longer than 40"),
        ("booked_in", "", "Required."),
        ("booked_in", "03/03/2025", "is not a valid date. Use 2024-12-31"),
        ("booked_in", "2025-02-30", "is not a valid date"),
        ("booked_in", "20250303", "is not a valid date"),
        ("booked_in", "٢٠٢٥-٠٣-٠٣", "is not a valid date"),
        ("booked_in", "0001-01-01", "outside the allowed range"),
        ("handed_back", "9999-12-31", "outside the allowed range"),
        ("handed_back", str(TOMORROW + timedelta(days=1)), "outside the allowed range"),
        ("handed_back", "2025-03-02", "before it was booked in"),
        ("customer", "Ada\x07", "control character (U+0007)"),
        ("email", "ada at home", "is not a valid email address"),
        ("phone", "call me", "is not a valid phone number"),
        ("phone", "12", "is not a valid phone number"),
        ("kind", "", "Required."),
        ("model", "m" * 81, "Longer than 80"),
        ("complaint", "x" * 2001, "Longer than 2000"),
        ("fault", "jack broken", "is not a valid code"),
        ("fault", "", "Outcome is fixed: enter the fault."),
        ("fix", "", "Outcome is fixed: enter the fix."),
        ("declared", "", "enter lasting or stopgap"),
        ("declared", "final", "Use lasting or stopgap"),
        ("outcome", "done", "Use fixed or not fixed or no fault found or not rep"),
        ("outcome", "", "enter the outcome"),
        ("minutes", "-5", "is not a whole number"),
        ("minutes", "45.5", "is not a whole number"),
        ("minutes", "99999", "more than 10,000"),
        ("charged", "-1.00", "must not be negative"),
        ("charged", "1e5", "is not a valid amount"),
        ("charged", "NaN", "is not a valid amount"),
        ("charged", "1,234.50", "is not a valid amount"),
        ("charged", "€ 12", "is not a valid amount"),
        ("charged", "٣", "is not a valid amount"),
        ("charged", "1.005", "more than 2 decimal places"),
        ("charged", "99999999999", "more than 1,000,000"),
        ("parts_cost", "5.", "is not a valid amount"),
        ("parts", "P-100", "NUMBER*QTY@UNITCOST#DELIVERY"),
        ("parts", "P-100*0", "between 1 and 10,000"),
        ("parts", "P-100*2@free", "is not a valid amount"),
        ("parts", "*2", "NUMBER*QTY"),
        ("return_is", "my fault", "Use same fault or new fault"),
    ],
)
def test_an_error_names_line_and_column(tmp_path, column, text, message):
    path = files.write(tmp_path, files.row(job="1"), files.row(**{column: text}))
    errors = files.errors(path)
    at = [w for w in errors if message in w]
    assert len(at) == 1, errors
    # The first row takes lines 2 and 3: its complaint has two.
    assert at[0].startswith(f"line 4, {column}: ")


def test_every_wrong_part_of_a_cell_is_named(tmp_path):
    errors = files.errors(files.write(tmp_path, files.row(parts="P-100*0;Q;R*1@x")))
    assert [w.split(": ")[0] for w in errors[:-1]] == ["line 2, parts"] * 3
    assert "3 errors" in errors[-1]


@pytest.mark.parametrize("day", ["1990-01-01", str(TOMORROW)])
def test_the_first_and_the_last_day_are_accepted(tmp_path, day):
    files.import_file(files.write(tmp_path, files.row(booked_in=day, handed_back=day)))
    assert str(Job.objects.get().booked_in_on) == day


def test_details_of_a_fault_need_the_fault(tmp_path):
    row = files.bare(
        fault_name="a",
        fix="A",
        fix_name="b",
        declared="lasting",
        parts="A*1",
        parts_cost="1",
    )
    errors = files.errors(files.write(tmp_path, row))
    named = [w.split(": ")[0].removeprefix("line 2, ") for w in errors[:-1]]
    assert set(named) == {
        "fault_name",
        "fix",
        "fix_name",
        "declared",
        "parts",
        "parts_cost",
    }


def test_rows_of_one_job_must_agree(tmp_path):
    other = files.row(fault="AUD", fault_name="Audio", customer="Ben")
    errors = files.errors(files.write(tmp_path, files.row(), other))
    assert errors[0] == (
        "line 4, customer: Job 25-00007 has “Ben” here and “Ada Fenwick” in line 2."
        " All rows of a job must have the same value."
    )


def test_a_duplicate_row_is_an_error(tmp_path):
    errors = files.errors(files.write(tmp_path, files.row(), files.row()))
    assert errors[0] == "line 4: This row is the same as line 2."


def test_one_wrong_row_keeps_all_others_out_but_is_no_missing_job(tmp_path):
    errors = files.errors(files.write(tmp_path, files.row(minutes="x"), files.back()))
    assert len(errors) == 2  # no word that job 25-00007 is missing
    assert errors[1] == "1 error. Nothing was imported."


def test_fifty_errors_are_listed_and_the_rest_counted(tmp_path):
    errors = files.errors(
        files.write(tmp_path, *[files.bare(minutes="x", job=str(n)) for n in range(80)])
    )
    assert len(errors) == 52
    assert errors[50] == "… and 30 more."
    assert errors[51] == "80 errors. Nothing was imported."


def test_a_sum_of_parts_may_have_been_rounded_to_the_cent(tmp_path):
    row = files.row(parts="R-1*3@0.333", parts_cost="1.00")
    files.import_file(files.write(tmp_path, row))
    assert Repair.objects.get().parts_cost_from_history == Decimal("0.001")


def test_a_job_has_at_most_a_hundred_rows(tmp_path):
    rows = [files.row(fault=f"F-{n}", fault_name="x", job="1") for n in range(150)]
    errors = files.errors(files.write(tmp_path, *rows))
    assert errors[0].endswith("job: Job 1 has more than 100 rows.")
