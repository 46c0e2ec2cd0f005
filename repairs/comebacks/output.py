"""The comeback table as text of 100 columns, as CSV, as JSON and as a workbook."""

import json
import math
import textwrap
from decimal import Decimal

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.record import ComebackReport
from shopdesk.look.formats import format_share
from shopdesk.spreadsheet import escape_formula, sheets

WIDTH = 100
TEXT_COLUMNS = {
    "Fault": lambda row: row.fault,
    "Fix": lambda row: row.fix,
    "Type": lambda row: row.fix_type,
    "Comebacks": lambda row: f"{row.comebacks} of {row.repairs}",
    "Followed up": lambda row: str(row.followed_up),
    "Risk %": lambda row: format_share(row.risk).removesuffix(" %"),
    "90 % range": lambda row: row.risk_range.removesuffix(" %"),
    "Verdict": lambda row: row.verdict,
    "Comeback allowance": lambda row: str(row.comeback_allowance),
}
LEFT_ALIGNED = {"Fault", "Fix", "Type", "Verdict"}
SHORTENED = ("Fault", "Fix")  # where a line would be too long
MIN_NAME = 14
NO_REPAIRS = "No fixed repairs handed over by that day."


def as_table(report: ComebackReport) -> str:
    """Return the rows in 100 columns, the mismatches and the limits of the report."""
    scope = report.scope
    head = (
        f"Comebacks within {scope.within} days as of {scope.as_of}:"
        f" {report.comebacks} of {report.repairs} repairs."
        f" Comeback limit: {format_share(report.table.limit)}."
    )
    if scope.is_filtered:
        head = _wrap("", f"{head} Filter: {scope.text}.", indent="")
    rows = _aligned(report.rows) if report.rows else [NO_REPAIRS]
    mismatches = [
        _wrap("! ", f"{row.label}: {row.mismatch}; {row.evidence}")
        for row in report.mismatches
    ]
    notes = [_wrap("- ", sentence) for sentence in report.notes]
    parts = ([head], rows, mismatches, notes)
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def as_csv(report: ComebackReport) -> str:
    """Return CSV with a row per pair; a missing number is an empty cell.

    A ' precedes text that a spreadsheet would run as a formula.
    """
    frame = report.table.for_file()
    texts = frame.select_dtypes(include=["str", "object"])
    return frame.assign(
        **{name: texts[name].map(escape_formula) for name in texts}
    ).to_csv(index=False, lineterminator="\n")


def as_json(report: ComebackReport) -> str:
    """Return a list of objects, one per pair; a missing number is null."""
    rows = [
        {name: _json_value(value) for name, value in row.items()}
        for row in report.table.for_file().to_dict("records")
    ]
    return json.dumps(rows, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def as_workbook(report: ComebackReport) -> bytes:
    """Return XLSX with the columns of the CSV file, and a sheet about the report."""
    frame, scope = report.table.for_file(), report.scope
    about = [
        ("Data as of", scope.as_of),
        ("Comeback period (days)", scope.within),
        ("Comeback limit", report.table.limit),
        ("Repairs", report.repairs),
        ("Comebacks", report.comebacks),
        *(("Note", note) for note in report.notes),
    ]
    rows = (tuple(row.values()) for row in frame.to_dict("records"))
    return sheets({"Comebacks": (list(frame), rows), "About": (("", ""), about)})


FORMATS = {"table": as_table, "csv": as_csv, "json": as_json}
FILE_FORMATS = {"csv": as_csv, "json": as_json, "xlsx": as_workbook}


def _json_value(value: object) -> object:
    if isinstance(value, Decimal):
        return float(value)
    return None if isinstance(value, float) and math.isnan(value) else value


def _aligned(rows: list[Row]) -> list[str]:
    """Return two lines of headings and the rows, as wide as their figures need."""
    headings = list(TEXT_COLUMNS)
    split = [("", *heading.upper().rsplit(" ", 1))[-2:] for heading in headings]
    lines = [list(line) for line in zip(*split, strict=True)]
    lines += [[text(row) for text in TEXT_COLUMNS.values()] for row in rows]
    widths = dict(
        zip(headings, (max(map(len, c)) for c in zip(*lines, strict=True)), strict=True)
    )
    too_wide = sum(widths.values()) + len(widths) - 1 - WIDTH
    for name in SHORTENED:
        cut = max(0, min(too_wide, widths[name] - MIN_NAME))
        widths[name] -= cut
        too_wide -= cut
    return [
        " ".join(
            _fit(text, widths[heading], is_left=heading in LEFT_ALIGNED)
            for heading, text in zip(headings, line, strict=True)
        )
        for line in lines
    ]


def _fit(text: str, width: int, *, is_left: bool) -> str:
    if len(text) > width:
        text = text[: width - 1] + "…"
    return text.ljust(width) if is_left else text.rjust(width)


def _wrap(mark: str, sentence: str, *, indent: str = "  ") -> str:
    return textwrap.fill(sentence, WIDTH, initial_indent=mark, subsequent_indent=indent)
