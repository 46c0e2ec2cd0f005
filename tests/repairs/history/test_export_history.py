"""Exporting past jobs and importing them again changes nothing."""

import csv
from collections import Counter
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from repairs.jobs.models import Job
from shopdesk.recording.models import TrailEntry
from shopdesk.spreadsheet import FORMULA_STARTS, mark_formula, unmark_formula
from tests import make
from tests.repairs.history import files
from tests.repairs.history.test_nothing_is_lost import a_file

pytestmark = pytest.mark.django_db


def export(path):
    """Export to the file; the value is its text, and the output of the command."""
    out = StringIO()
    call_command("export_history", str(path), stdout=out)
    return path.read_bytes().decode(), out.getvalue()


def left_out(output):
    return [line.split(":")[0].strip() for line in output.splitlines()[2:]]


def test_what_was_exported_is_imported_as_what_it_was(tmp_path):
    rows = a_file(300)
    for row in rows:
        # Without it, which customers are one depends on the rows before.
        row["email"] = f"z{row['customer'].lstrip('ZzoëNnº. ')}@example.org"
    jobs = Counter(row["job"] for row in rows)
    alone = [row for row in rows if jobs[row["job"]] == 1]
    for row, text in zip(alone, ("''=1+1", "'''-x"), strict=False):
        row["complaint"] = text
    path = tmp_path / "out.csv"
    with transaction.atomic():
        files.import_file(files.write(tmp_path, *rows))
        text, output = export(path)
        # Into the same shop: nothing changes, and nothing differs.
        before = files.records()
        assert "No new jobs. Nothing was imported." in files.import_file(path)
        assert files.records() == before
        numbers = set(Job.objects.exclude(handed_over_on=None).values_list("number"))
        transaction.set_rollback(True)
    assert not Job.objects.exists()
    # Into an empty one: it holds the same jobs, and exports the same file.
    files.import_file(path)
    again, _ = export(tmp_path / "again.csv")
    assert sorted(again.splitlines()) == sorted(text.splitlines())
    exported = {row["job"] for row in csv.DictReader(StringIO(text))}
    assert len(exported) > 150
    assert {number for (number,) in numbers} - exported == set(left_out(output))
    assert TrailEntry.objects.latest("id").values == {"file": "again.csv"}


def test_a_job_that_the_format_cannot_hold_is_named_with_its_returns(tmp_path):
    fault, fix = make.fault(), make.fix()
    good, bad = (make.past_repair(fault, fix, on=make.DAY) for _ in range(2))
    make.repair(bad.job, fault, fix=fix, fix_type="lasting", outcome="fixed")
    returned = make.comeback(bad, on=make.DAY.replace(day=20)).job
    make.repair(returned, fault, fix=fix, fix_type="lasting", outcome="fixed")
    make.hand_over(returned, on=make.DAY.replace(day=21))
    text, output = export(tmp_path / "out.csv")
    assert [row["job"] for row in csv.DictReader(StringIO(text))] == [good.job.number]
    assert "1 jobs exported" in output and "2 left out" in output
    assert "This row is the same as line 2." in output
    assert f"{returned.number}: It is a return of job {bad.job.number}." in output
    assert "No new jobs" in files.import_file(tmp_path / "out.csv")


def test_a_file_that_is_there_stays(tmp_path):
    path = tmp_path / "out.csv"
    path.write_text("mine")
    with pytest.raises(CommandError, match="File exists") as refusal:
        export(path)
    assert refusal.value.returncode == 2 and path.read_text() == "mine"


@pytest.mark.parametrize(
    "text", ["=1", "'=1", "''@x", "-", "'", "don't", "", "'a", "+4"]
)
def test_the_mark_of_a_formula_is_taken_off_exactly(text):
    marked = mark_formula(text)
    assert not marked.startswith(FORMULA_STARTS)
    assert unmark_formula(marked) == text
