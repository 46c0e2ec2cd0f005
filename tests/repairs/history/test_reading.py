import os
import subprocess
import sys

import pytest
from django.core.management import CommandError

from repairs.history.rows import COLUMNS, REQUIRED
from tests.repairs.history import files

pytestmark = pytest.mark.django_db


def header(names, *more):
    return (",".join([*names, *more]) + "\n").encode()


HEADER = header(COLUMNS)
VALID = files.text(files.row())
ZOE = files.text(files.row(customer="Zoë"))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (b"\n\n", "is empty"),
        (
            ZOE.encode("latin-1"),
            "Byte 0xEB in line 2 is not UTF-8 text.",
        ),
        (VALID.encode("utf-16"), "is UTF-16"),
        (VALID.encode("utf-16-le"), "Line 1 has a NUL byte"),
        (VALID.encode() + b"\x00", "Line 4 has a NUL byte"),
        (VALID.replace(",", ";").encode(), "separated by semicolons"),
        (VALID.replace(",", "\t").encode(), "separated by tabs"),
        (b"PK\x03\x04rest", "spreadsheet or archive"),
        (
            header(COLUMNS, "colour", "smell"),
            "Unknown columns: colour, smell.",
        ),
        (
            header(COLUMNS, "job"),
            "Duplicate columns: job.",
        ),
        (b"job,booked_in\n", "Missing columns: customer, kind, model."),
        (b"a," * 1_000_000 + b"\n", "more than 200,000 characters"),
        (b"a," * 90_000 + b"\n", "Unknown columns: a, a"),
        (b"x" * 3_000_000, "more than 200,000"),
        (
            HEADER + b'"' + b"x\n" * 90_000,
            "more than 20,000",
        ),
        (HEADER + b'1,"a', "ends inside quotation marks"),
        (HEADER + b'1,"a"b,c\n', "text follows a closing"),
        (
            HEADER + b"caf\xc3",
            "Byte 0xC3 in line 2 is not UTF-8 text.",
        ),
    ],
)
def test_an_unreadable_file_is_refused_with_a_reason(tmp_path, content, message):
    path = tmp_path / "past.csv"
    path.write_bytes(content)
    errors = files.errors(path)
    assert message in errors[-1] and len(errors[-1]) < 700


def test_a_row_with_too_many_or_too_few_cells_is_an_error(tmp_path):
    path = tmp_path / "past.csv"
    path.write_text(header(REQUIRED).decode() + "1,2,3\n\n,,,,\n1,2,3,4,5,6\n")
    errors = files.errors(path)
    assert errors[0].startswith("line 2: Row has 3 cells, header has 5.")
    assert errors[1].startswith("line 5: Row has 6 cells")


def test_a_file_without_rows_imports_nothing(tmp_path):
    path = tmp_path / "past.csv"
    path.write_text(header(REQUIRED).decode())
    assert "no rows below the header" in files.import_file(path)


def test_a_missing_file_is_a_usage_error(tmp_path):
    with pytest.raises(CommandError, match="cannot be opened") as refusal:
        files.import_file(tmp_path / "none.csv")
    assert refusal.value.returncode == 2
    with pytest.raises(CommandError) as refusal:
        files.import_file(tmp_path)
    assert refusal.value.returncode == 2


def in_a_shell(file, data):
    """Return the finished command, run on a database without tables."""
    ran = subprocess.run(
        [sys.executable, "manage.py", "import_history", str(file)],
        env={**os.environ, "SHOPDESK_DATA": str(data), "DATABASE_URL": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    assert "Traceback" not in ran.stderr
    return ran


def test_the_exit_code_reaches_the_shell(tmp_path):
    ran = in_a_shell(tmp_path / "none.csv", tmp_path / "data")
    assert ran.returncode == 2 and "cannot be opened" in ran.stderr


def test_without_a_database_it_says_what_to_do_first(tmp_path):
    file = tmp_path / "past.csv"
    file.write_text("job,booked_in,customer,kind,model\n")
    ran = in_a_shell(file, tmp_path / "data")
    assert ran.returncode == 2 and "migrate" in ran.stderr
