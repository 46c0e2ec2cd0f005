"""Small history files for the tests: one valid row, and what a test changes in it."""

import csv
import io

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command

from repairs.history.rows import COLUMNS

VALID = {
    "job": "25-00007",
    "booked_in": "2025-03-03",
    "handed_back": "2025-03-10",
    "customer": "Ada Fenwick",
    "email": "ada@example.org",
    "phone": "01632 960123",
    "kind": "laptop",
    "maker": "Norwind",
    "model": "Slate 14",
    "serial": "NW-00123",
    "complaint": 'Goes off, "at once",\r\nwhen moved.',
    "symptoms": "Light flickers;Charges in one position",
    "checks": "Plug moved=drops out",
    "fault": "PWR-JACK-OPEN",
    "fault_name": "Charging socket open",
    "fix": "JACK-NEW",
    "fix_name": "New charging socket",
    "declared": "lasting",
    "outcome": "fixed",
    "minutes": "45",
    "charged": "89.50",
    "parts_cost": "5.00",
    "parts": "P-100*2@2.50#L7",
    "returned_from": "",
    "return_is": "",
}


def row(**cells):
    return VALID | cells


def bare(**cells):
    """Return a row with the required columns only."""
    needed = ("job", "booked_in", "customer", "kind", "model")
    return dict.fromkeys(COLUMNS, "") | {c: VALID[c] for c in needed} | cells


def back(**cells):
    """Return a return: the same device with the same fault after twenty days."""
    changed = {
        "job": "25-00019",
        "booked_in": "2025-03-30",
        "handed_back": "2025-04-02",
        "returned_from": "25-00007",
        "return_is": "same fault",
    }
    return VALID | changed | cells


def text(*rows, columns=COLUMNS):
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def write(folder, *rows, columns=COLUMNS, name="past.csv"):
    path = folder / name
    path.write_bytes(text(*rows, columns=columns).encode())
    return path


def import_file(path, *options):
    """Return the output of the command."""
    out = io.StringIO()
    call_command("import_history", str(path), *options, stdout=out)
    return out.getvalue()


def records():
    """Return every record there is, so that a test can check that nothing changed."""
    apps_ = map(apps.get_app_config, ("repairs", "billing", "shopdesk"))
    models = [model for app in apps_ for model in app.get_models()]
    return {m.__name__: list(m.objects.order_by("pk").values()) for m in models}


def errors(path, *options):
    """Return the error lines of a refused file, of which nothing was imported."""
    before, err = records(), io.StringIO()
    with pytest.raises(CommandError) as refusal:
        call_command("import_history", str(path), *options, stderr=err)
    assert refusal.value.returncode == 1
    assert records() == before
    return [*err.getvalue().splitlines(), str(refusal.value)]
