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
RIGHT = files.text(files.row())
ZOE = files.text(files.row(customer="Zoë"))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (b"\n\n", "is empty"),
        (
            ZOE.encode("latin-1"),
            "Byte 0xEB in line 2 is not UTF-8 text.",
        ),
        (RIGHT.encode("utf-16"), "is UTF-16"),
        (RIGHT.encode("utf-16-le"), "Line 1 has a NUL byte"),
        (RIGHT.encode() + b"\x00", "Line 4 has a NUL byte"),
        (RIGHT.replace(",", ";").encode(), "separated by semicolons"),
        (RIGHT.replace(",", "\t").encode(), "separated by tabs"),
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
def test_a_file_that_cannot_be_read_is_refused_with_a_sentence(tmp_path, content, says):
    path = tmp_path / "past.csv"
    path.write_bytes(content)
    wrong = files.refused(path)
    assert says in wrong[-1] and len(wrong[-1]) < 700


def test_a_row_too_wide_or_too_narrow_is_named(tmp_path):
    path = tmp_path / "past.csv"
    path.write_text(header(REQUIRED).decode() + "1,2,3\n\n,,,,\n1,2,3,4,5,6\n")
    wrong = files.refused(path)
    assert wrong[0].startswith("line 2: Row has 3 cells, header has 5.")
    assert wrong[1].startswith("line 5: Row has 6 cells")


def test_a_file_without_rows_brings_nothing(tmp_path):
    path = tmp_path / "past.csv"
    path.write_text(header(REQUIRED).decode())
    assert "no rows below the header" in files.bring(path)


def test_a_file_that_is_not_there_is_wrong_use(tmp_path):
    with pytest.raises(CommandError, match="cannot be opened") as refusal:
        files.bring(tmp_path / "none.csv")
    assert refusal.value.returncode == 2
    with pytest.raises(CommandError) as refusal:
        files.bring(tmp_path)
    assert refusal.value.returncode == 2


def in_a_shell(file, data):
    """What the command says as people call it, on a database without tables."""
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


def test_without_books_it_says_what_to_do_first(tmp_path):
    file = tmp_path / "past.csv"
    file.write_text("job,booked_in,customer,kind,model\n")
    ran = in_a_shell(file, tmp_path / "data")
    assert ran.returncode == 2 and "migrate" in ran.stderr
