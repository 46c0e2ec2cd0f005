"""A shop's own list by the command: imported, coded later, undone."""

import io
import json
import re

import pytest
from django.core.management import CommandError, call_command

from repairs.customers.models import Customer, Device
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import (
    Comeback,
    Job,
    Labour,
    PastImport,
    Repair,
    UncodedRepair,
)
from repairs.sheet_import.coding import code_repairs, reconsider_declined
from repairs.sheet_import.undoing import undo_import
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Shop
from tests import make
from tests.repairs.history.files import records
from tests.repairs.sheet_import import messy

pytestmark = pytest.mark.django_db
LINES_ABOVE = 3
FEW = 60


@pytest.fixture
def path(tmp_path):
    return write(tmp_path, FEW)


def write(folder, count):
    make.shop(country="GB")
    path = folder / "repairs.csv"
    path.write_bytes(messy.text(messy.rows(count)[0]).encode("cp1252"))
    return path


def run(path, *options):
    out = io.StringIO()
    call_command("import_sheet", str(path), *options, stdout=out, stderr=out)
    return out.getvalue()


def decided(path):
    """Answer what the list asks, as its owner would in the file of decisions."""
    map_path = path.with_suffix(".json")
    before, err = records(), io.StringIO()
    with pytest.raises(CommandError) as refusal:
        call_command("import_sheet", str(path), "--save-map", str(map_path), stderr=err)
    assert refusal.value.returncode == 1 and records() == before
    asked = [line.partition(":")[0] for line in err.getvalue().splitlines()]
    assert asked == ["without_handover", "without_customer"]
    facts = json.loads(map_path.read_text())
    assert (facts["date_order"], facts["decimal"]) == ("day", "comma")
    assert facts["columns"]["Shelf"] == ""
    for group in (*facts["faults"], *facts["fixes"]):
        group["name"] = group["texts"][0]
    facts |= {
        "without_handover": "close",
        "without_customer": "unknown",
        "without_outcome": "not coded",
    }
    map_path.write_text(json.dumps(facts))
    return map_path


def test_a_messy_list_is_imported_and_each_row_left_out_is_named(tmp_path):
    lines, unreadable = messy.rows(400)
    path = write(tmp_path, len(lines))
    map_path = decided(path)
    before = records()
    checked = run(path, "--map", str(map_path), "--check")
    assert "Nothing was imported." in checked and records() == before
    output = run(path, "--map", str(map_path))
    assert Job.objects.count() == 394 >= 0.95 * len(lines)
    left_out = re.findall(r"^row (\d+), .*?: (.*) Left out\.$", output, re.M)
    assert {int(n) - LINES_ABOVE: text for n, text in left_out}.keys() == (
        unreadable.keys()
    )
    for number, text in left_out:
        assert unreadable[int(number) - LINES_ABOVE] in text

    assert Fault.objects.count() == Fix.objects.count() == len(messy.PAIRS)
    by_number = {row[0]: row for row in lines if row[0]}
    for job in Job.objects.filter(number__in=by_number).prefetch_related("repairs"):
        row = dict(zip(messy.HEADER, by_number[job.number], strict=True))
        paid = {"€ 45": 45, "45,00": 45, "340,-": 340, "free": 0, "1.234,50": 1234.5}
        found = [*job.repairs.all(), *job.uncoded_repairs.all()]
        charged = found[0].charged if found else job.agreed_diagnosis_fee
        assert charged == paid.get(row["bezahlt"]), job.number
        assert job.customer.name == (row["Kunde"] or "Unknown customer")
        if row["bezahlt"] == "see invoice":
            assert "charged: see invoice" in job.bench_notes
        if row["Shelf"]:
            assert f"Shelf: {row['Shelf']}" in job.bench_notes
        declined = job.outcome == states.DECLINED_BY_CUSTOMER
        assert declined == (row["Status"] == "too expensive")
        if not row["What we found"]:
            assert job.outcome == states.NOT_CODED and not job.repairs.exists()
    minutes = Repair.objects.values_list("minutes_from_history", flat=True)
    assert set(minutes) == {90, 45}
    assert Job.objects.filter(number__startswith="S").count() == 10
    back = Job.objects.exclude(decisions=None)
    assert back.count() >= 8 and Comeback.objects.exists()

    again = run(path, "--map", str(map_path))
    assert "394 rows are on record already" in again
    assert Job.objects.count() == 394


def test_what_is_not_coded_counts_nowhere_until_it_is_coded(path):
    run(path, "--map", str(decided(path)))
    fault, fix = Fault.objects.first(), Fix.objects.first()
    uncoded = UncodedRepair.objects.filter(outcome=states.FIXED)
    job, chosen = uncoded.first().job, list(uncoded.values_list("pk", flat=True))
    before = Repair.objects.count()
    count = code_repairs(
        chosen,
        fault=fault,
        fix=fix,
        fix_type="lasting",
        outcome=states.FIXED,
        stamp=make.stamp(),
        shop=Shop.current(),
    )
    assert count == len(chosen) and Repair.objects.count() == before + count
    job.refresh_from_db()
    repair = job.repairs.get()
    assert (job.outcome, repair.fault, repair.fix) == (states.FIXED, fault, fix)
    assert repair.cost is not None and repair.warranty_until and repair.charged
    assert not job.uncoded_repairs.exists()
    with pytest.raises(RefusedError, match="later record uses it"):
        undo_import(PastImport.objects.get(), stamp=make.stamp())


def test_a_past_job_that_was_declined_although_it_was_paid_can_be_coded():
    past = {"state": states.HANDED_OVER, "handed_over_on": make.DAY}
    past |= {"is_from_history": True, "outcome": states.DECLINED_BY_CUSTOMER}
    job = make.job(agreed_diagnosis_fee=45, **past)
    make.job(**past)
    Labour.objects.create(job=job, minutes=30)
    stamp, shop = make.stamp(), make.shop()
    assert reconsider_declined(stamp=stamp) == 1
    job.refresh_from_db()
    (uncoded,) = job.uncoded_repairs.all()
    assert (job.outcome, uncoded.charged, uncoded.minutes) == ("not_coded", 45, 30)
    nothing = {"fault": None, "fix": None, "fix_type": "", "stamp": stamp, "shop": shop}
    with pytest.raises(RefusedError):
        code_repairs([uncoded.pk], outcome="fixed", **nothing)
    code_repairs([uncoded.pk], outcome="declined", **nothing)
    job.refresh_from_db()
    assert (job.outcome, job.agreed_diagnosis_fee) == ("declined", 45)
    assert reconsider_declined(stamp=stamp) == 0
    assert job.labour.get().minutes == 30 and not job.uncoded_repairs.exists()


def test_an_import_is_undone_as_a_whole_until_something_builds_on_it(path):
    kept = make.customer("Zoe Before")
    run(path, "--map", str(decided(path)))
    past = PastImport.objects.get()
    customer = Customer.objects.exclude(pk=kept.pk).first()
    customer.notes = "Rings in the morning."
    customer.save()
    with pytest.raises(RefusedError, match="customer .* was changed"):
        undo_import(past, stamp=make.stamp())
    assert Job.objects.count() == FEW - 1


def test_undoing_leaves_nothing_of_an_import(path):
    kept = make.customer("Zoe Before")
    map_path = decided(path)
    run(path, "--map", str(map_path))
    undo_import(PastImport.objects.get(), stamp=make.stamp())
    for model in (Job, Repair, Device, Fault, Fix, Comeback, UncodedRepair):
        assert not model.objects.exists(), model
    assert list(Customer.objects.all()) == [kept]
    with pytest.raises(RefusedError, match="undone already"):
        undo_import(PastImport.objects.get(), stamp=make.stamp())
    run(path, "--map", str(map_path))
    assert Job.objects.count() == FEW - 1
