"""The fault book as a CSV file: out, in, and the starter book that comes with the shop.

One row is one entry; its first column says of what. Lists are separated by semicolons.
"""

import csv
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path

from django import forms
from django.db import transaction

from repairs.faults.forms import CheckForm, FaultForm, FixForm, SymptomForm, split_names
from repairs.faults.models import Check, Fault, Fix, Symptom
from shopdesk.errors import RefusedError
from shopdesk.spreadsheet import FORMULA_STARTS, csv_text

STARTER = Path(__file__).with_name("starter_book.csv")
COLUMNS = (
    *("entry", "code", "name", "area", "part", "mode", "cause", "kinds", "hazard"),
    *("symptoms", "checks", "faults", "type", "minutes", "warranty_days"),
    *("usual_parts", "where", "results", "misled", "notes", "retired"),
)
FIELD_OF = {"type": "fix_type", "usual_parts": "usual", "retired": "is_retired"}
"""The fields of the forms whose names differ from those of the columns."""
FORMS = {"symptom": SymptomForm, "check": CheckForm, "fault": FaultForm, "fix": FixForm}
"""The form that checks and stores each kind of entry, in the order of their links."""
MAX_ERRORS = 50


class FaultBookFileError(RefusedError):
    """What is wrong in the file, each with its row and column."""

    def __init__(self, problems: list[str]):
        super().__init__(" ".join(problems[:MAX_ERRORS]))
        self.problems = problems


def book_csv() -> str:
    """Return the whole fault book."""
    return csv_text(COLUMNS, map(_cells, _entries()))


def _cells(row: dict) -> list[object]:
    return [row.get(column, "") for column in COLUMNS]


def _entries() -> Iterator[dict]:
    for symptom in Symptom.objects.all():
        yield {"entry": "symptom", "name": symptom.name, **_status(symptom)}
    for check in Check.objects.all():
        names = ("name", "where", "minutes", "results")
        yield {"entry": "check", **_values(check, names), **_status(check)}
    faults = Fault.objects.prefetch_related("symptoms", "checks").order_by("code")
    for fault in faults:
        yield {
            "entry": "fault",
            **_values(fault, (*COLUMNS[1:9], "misled", "notes")),
            "symptoms": _list(one.name for one in fault.symptoms.all()),
            "checks": _list(one.name for one in fault.checks.all()),
            **_status(fault),
        }
    fixes = Fix.objects.prefetch_related("faults", "usual_parts__part")
    for fix in fixes.order_by("code"):
        names = ("code", "name", "hazard", "minutes", "warranty_days", "notes")
        yield {
            "entry": "fix",
            **_values(fix, names),
            "type": fix.fix_type,
            "faults": _list(fault.code for fault in fix.faults.all()),
            "usual_parts": _list(
                f"{usual.part.number}*{usual.quantity}"
                for usual in fix.usual_parts.all()
            ),
            **_status(fix),
        }


def _values(record: object, names: Iterable[str]) -> dict:
    return {name: getattr(record, name) for name in names}


def _status(record) -> dict:
    return {"retired": "yes" if record.is_retired else ""}


def _list(names: Iterable[str]) -> str:
    return "; ".join(sorted(names))


def read_book(text: str) -> list[dict]:
    """Return the entries of a file, each with its row as `row`.

    Raises: FaultBookFileError.
    """
    reader = csv.DictReader(text.splitlines(keepends=True), strict=True)
    try:
        columns = reader.fieldnames or []
        if "entry" not in columns or "name" not in columns:
            raise FaultBookFileError(["The first row must have the columns’ names."])
        if unknown := [name for name in columns if name not in COLUMNS]:
            raise FaultBookFileError([f"There is no column “{unknown[0]}”."])
        rows = [{**row, "row": reader.line_num} for row in reader]
    except csv.Error as wrong:
        raise FaultBookFileError([f"Row {reader.line_num}: {wrong}."]) from None
    problems = [
        f"Row {row['row']}: there are more cells than columns."
        if None in row
        else f"Row {row['row']}: entry must be fault, fix, check or symptom."
        for row in rows
        if None in row or row["entry"] not in FORMS
    ]
    if problems:
        raise FaultBookFileError(problems)
    return [_plain(row) for row in rows]


def _plain(row: dict) -> dict:
    """Return the cells without the mark that keeps spreadsheets from calculating."""
    return {
        name: cell[1:]
        if isinstance(cell, str) and cell[:1] == "'" and cell[1:2] in FORMULA_STARTS
        else cell or ""
        for name, cell in row.items()
    }


def starter_book() -> list[dict]:
    """Return the entries that come with the shop: common practice, no source."""
    return read_book(STARTER.read_text(encoding="utf-8"))


def only_areas(rows: list[dict], areas: Collection[str]) -> list[dict]:
    """Return the faults of some areas with their fixes, checks and symptoms."""
    faults = [row for row in rows if row["entry"] == "fault" and row["area"] in areas]
    codes = {row["code"] for row in faults}
    checks = {name for row in faults for name in split_names(row["checks"])}
    kept = []
    for row in rows:
        if row["entry"] == "fix":
            own = [code for code in split_names(row["faults"]) if code in codes]
            row = {**row, "faults": "; ".join(own)}
            if own:
                kept.append(row)
        elif row["entry"] == "check" and row["name"] in checks:
            kept.append(row)
    return kept + faults


@transaction.atomic
def import_book(rows: list[dict]) -> Counter:
    """Add the entries that the fault book lacks; return how many, by kind of entry.

    Those that exist already, by code or name, stay as they are. A fix that exists is
    also used for new faults that name it. Symptoms that faults name are added.

    Raises: FaultBookFileError; then nothing was added.
    """
    added: Counter = Counter()
    problems: list[str] = []
    mentioned = {
        name.casefold(): {"entry": "symptom", "name": name, "row": row["row"]}
        for row in rows
        for name in split_names(row.get("symptoms", ""))
    }
    for entry, form_class in FORMS.items():
        own = [row for row in rows if row["entry"] == entry]
        if entry == "symptom":
            own += mentioned.values()
        known = _known(form_class)
        for row in own:
            key = row["code" if entry in ("fault", "fix") else "name"].casefold()
            if key in known:
                if entry == "fix":
                    _use_for(known[key], split_names(row.get("faults", "").upper()))
                continue
            form = form_class(_entered(form_class, row))
            if form.is_valid():
                known[key] = form.save()
                added[entry] += 1
            else:
                problems += _problems(form, row["row"])
    if problems:
        raise FaultBookFileError(problems)
    return added


def _known(form_class: type[forms.ModelForm]) -> dict:
    model = form_class._meta.model
    name = "code" if model in (Fault, Fix) else "name"
    return {getattr(one, name).casefold(): one for one in model.objects.all()}


def _use_for(fix: Fix, codes: list[str]) -> None:
    has = set(fix.faults.values_list("code", flat=True))
    if missing := set(codes) - has:
        fix.faults.add(*Fault.objects.filter(code__in=missing))


def _entered(form_class, row: dict) -> dict:
    entered = {FIELD_OF.get(name, name): cell for name, cell in row.items()}
    if "is_retired" in entered and entered["is_retired"].lower() != "yes":
        del entered["is_retired"]
    if form_class is FixForm and not entered.get("fix_type"):
        entered["fix_type"] = "lasting"
    return entered | {"add_anyway": "on"}


def _problems(form: forms.ModelForm, row: int) -> Iterator[str]:
    columns = {field: column for column, field in FIELD_OF.items()}
    for name, errors in form.errors.items():
        place = "" if name == "__all__" else f", {columns.get(name, name)}"
        for error in errors:
            yield f"Row {row}{place}: {error}"
