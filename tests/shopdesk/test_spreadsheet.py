import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.spreadsheet import FORMULA_STARTS, csv_text, escape_formula


def test_a_file_has_its_columns_and_rows():
    rows = [("USB-C", Decimal("-4.50"), 3), ("screen", None, float("nan"))]
    assert csv_text(["part", "amount", "count"], rows) == (
        "part,amount,count\nUSB-C,-4.50,3\nscreen,,\n"
    )


@pytest.mark.parametrize(
    ("text", "escaped"),
    [
        ("=1+1", "'=1+1"),
        ("+49 30 1234", "'+49 30 1234"),
        ("-2", "'-2"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("  =1", "'=1"),
        ("\t=1", "'=1"),
        ("1=1", "1=1"),
        ("two\nlines", "two lines"),
        ("", ""),
    ],
)
def test_a_text_is_no_formula(text, escaped):
    assert escape_formula(text) == escaped


@given(st.text())
def test_no_text_of_a_file_begins_like_a_formula(text):
    _, row = csv.reader(io.StringIO(csv_text(["text"], [[text]])))
    assert not any(cell.startswith(FORMULA_STARTS) for cell in row)


def test_a_large_amount_has_no_exponent():
    assert csv_text(["a"], [[Decimal("1E+3")]]) == "a\n1000\n"
