"""What was imported is read back from the records and compared cell by cell."""

import random
from datetime import date, timedelta
from decimal import Decimal

import phonenumbers
import pytest

from repairs.history.rows import COLUMNS
from repairs.jobs.models import Job
from shopdesk.lookup import normalize_search
from tests.repairs.history import files

pytestmark = pytest.mark.django_db

AMOUNTS = ("charged", "parts_cost")


def a_file(rows, *, seed=11):
    """Rows of every sort: several repairs, returns, gaps, spellings, odd characters."""
    pick = random.Random(seed)
    table, done = [], []
    for n in range(rows):
        came = date(2024, 1, 1) + timedelta(days=n)
        who = pick.randrange(rows // 3)
        cells = files.bare(
            job=f"J/{n:04d} ß",
            booked_in=str(came),
            customer=pick.choice([f"Zoë Nº{who}", f"zoë nº{who}", f"Z. {who}"]),
            email=pick.choice(["", f"z{who}@example.org", f"Z{who}@example.org"]),
            phone=pick.choice(["", f"01632 960{who % 1000:03d}"]),
            kind=pick.choice(["laptop", "Laptop", "amplifier"]),
            maker=pick.choice(["", "Norwind", "NORWIND"]),
            model=pick.choice(["Slate 14", "slate 14", "Hall 2"]),
            serial=pick.choice(["", "n/a", f"SN-{who}", f"sn {who}"]),
            complaint=pick.choice(["", 'Says "no"; then,\nnothing 🙂', "=1+1"]),
            symptoms=pick.choice(["", "hums", "blows  fuse; hums;Hüms", "=1+1;Dead"]),
            checks=pick.choice(["", "Ripple=high", "ripple = 3 V=pp;Plug=holds"]),
        )
        if pick.random() < 0.7:
            cells["handed_back"] = str(came + timedelta(days=pick.randrange(3)))
        earlier = [
            e for e in done if e["handed_back"] and e["handed_back"] <= str(came)
        ]
        if earlier and pick.random() < 0.3:
            before = pick.choice(earlier)
            for column in ("maker", "model", "serial", "kind"):
                cells[column] = before[column]
            cells["returned_from"] = before["job"]
            cells["return_is"] = pick.choice(
                ["", "same fault", "new fault", "handling damage", "no fault found"]
            )
        done.append(cells)
        if pick.random() < 0.15:
            if cells["handed_back"]:
                cells["outcome"] = "no fault found"
            cells["minutes"] = pick.choice(["", "0", "15"])
            cells["charged"] = pick.choice(["", "0.00", "25.00"])
            table.append(cells)
            continue
        for fault in pick.sample(range(9), pick.choice([1, 1, 2, 3])):
            table.append(
                cells | repair(pick, fault, is_back=bool(cells["handed_back"]))
            )
    pick.shuffle(table)
    return table


def repair(pick, fault, *, is_back):
    declared = pick.choice(["lasting", "stopgap"])
    parts = pick.choice(
        [
            ("", ""),
            ("", "3.25"),
            ("A-1*2@1.10#L1", "2.20"),
            ("A-1*2@1.10#L1;B 2*1@0.0125", ""),
            ("C*3;A-1*1@1.20#L2", "9.99"),
            ("C*3", ""),
        ]
    )
    cells = {
        "fault": f"F-{fault}",
        "fault_name": pick.choice([f"Fault {fault}", f"fault {fault}"]),
        "outcome": pick.choice(["fixed", "not fixed", "not repairable"]),
        "fix": f"X-{fault}",
        "fix_name": pick.choice([f"Fix {fault}", f"fix {fault}"]),
        "declared": declared,
        "minutes": pick.choice(["", "0", "40"]),
        "charged": pick.choice(["", "0.00", "99.90"]),
        "parts": parts[0],
        "parts_cost": parts[1],
    }
    if pick.random() < 0.2:
        gone = ("outcome", "fix", "fix_name", "declared")
        return cells | dict.fromkeys(gone, "")
    if not is_back and pick.random() < 0.2:
        return cells | {"outcome": ""}
    return cells


def stored_rows():
    """One row a repair, read field by field from where each cell belongs."""
    for job in Job.objects.all():
        last = job.decisions.last()
        model = job.device.model
        cells = {
            "job": job.number,
            "booked_in": str(job.booked_in_on),
            "handed_back": str(job.handed_over_on or ""),
            "customer": job.customer.name,
            "email": job.customer.email,
            "phone": job.customer.phone,
            "kind": model.kind,
            "maker": model.maker,
            "model": model.model,
            "serial": job.device.serial,
            "complaint": job.complaint,
            "symptoms": {one.name for one in job.symptoms.all()},
            "checks": {
                f"{one.check_made.name}={one.result}" for one in job.check_results.all()
            },
            "returned_from": last.earlier.job.number if last else "",
            "return_is": last.assessment if last else "",
        }
        cells |= noted(job.imported_text)
        for one in job.repairs.all():
            used = [
                (u.part.number, u.quantity, u.cost, u.delivery.lot)
                for u in one.parts_used.all()
            ]
            alone = sum((cost * quantity for _, quantity, cost, _ in used), Decimal(0))
            yield (
                cells
                | {
                    "fault": one.fault.code,
                    "fault_name": one.fault.name,
                    "fix": one.fix.code if one.fix else "",
                    "fix_name": one.fix.name if one.fix else "",
                    "declared": one.fix_type,
                    "outcome": one.outcome,
                    "minutes": str(one.minutes_from_history),
                    "charged": one.charged,
                    "parts_cost": one.parts_cost_from_history + alone,
                    "parts": used,
                }
                | noted(one.imported_text)
            )
        if not job.repairs.exists():
            minutes = sum(job.labour.values_list("minutes", flat=True))
            yield cells | {
                "outcome": job.outcome,
                "minutes": str(minutes),
                "charged": job.agreed_diagnosis_fee,
                **dict.fromkeys("fault fault_name fix fix_name".split(), ""),
                **dict.fromkeys("declared parts_cost".split(), ""),
                "parts": [],
            }


def noted(text):
    return dict(line.split(": ", 1) for line in text.split("\n") if line)


def is_same(column, text, stored):
    """Return whether the record holds what the cell says, if it says anything."""
    if text == "":
        if column in ("handed_back", "fix", "declared", "charged", "returned_from"):
            return not stored and stored != 0
        if column == "outcome":
            return stored in ("", "declined")
        if column == "return_is":
            return stored in ("", "undecided")
        return True
    if column == "phone":
        number = phonenumbers.parse(text, "GB")
        text = phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
    if column in AMOUNTS:
        return Decimal(text) == stored
    if column in ("outcome", "return_is"):
        text = text.replace(" ", "_")
    if column == "parts":
        return len(stored) == len(text.split(";")) and all(
            is_same_part(part, *one)
            for part, one in zip(text.split(";"), stored, strict=True)
        )
    if column in ("symptoms", "checks"):
        said = {
            " ".join(one.replace(" =", "=").replace("= ", "=").split())
            for one in text.split(";")
        }
        return {normalize_search(one) for one in said} == {
            normalize_search(one) for one in stored
        }
    return text == stored


def is_same_part(cell, number, quantity, cost, lot):
    rest, _, cell_lot = cell.partition("#")
    rest, _, cell_cost = rest.partition("@")
    same_cost = not cell_cost or Decimal(cell_cost) == cost
    return rest == f"{number}*{quantity}" and lot == cell_lot and same_cost


def test_every_cell_of_a_long_and_odd_file_can_be_read_back(tmp_path):
    rows = a_file(300)
    path = files.write(tmp_path, *rows)
    files.import_file(path)
    stored = {(row["job"], row["fault"]): row for row in stored_rows()}
    assert len(stored) == len(rows) > 350
    lost = [
        (row["job"], column, row[column], stored[row["job"], row["fault"]][column])
        for row in rows
        for column in COLUMNS
        if not is_same(column, row[column], stored[row["job"], row["fault"]][column])
    ]
    assert lost == []
    before = files.records()
    assert "No new jobs" in files.import_file(path)
    assert files.records() == before


def test_the_comparison_notices_what_is_lost():
    assert not is_same("customer", "Ada", "ada")
    assert not is_same("charged", "1.00", Decimal("1.01"))
    assert not is_same("charged", "", Decimal(0))
    assert not is_same("minutes", "15", "0")
    assert not is_same("parts", "A*1", [])
    assert not is_same("symptoms", "hums;dead", {"hums"})
    assert not is_same("checks", "Plug=holds", {"Plug=drops out"})
    assert not is_same("parts", "A*1@2#L", [("A", 1, Decimal(2), "M")])


def test_every_column_is_filled_somewhere_in_that_file():
    rows = a_file(300)
    assert [c for c in COLUMNS if not any(row[c] for row in rows)] == []
