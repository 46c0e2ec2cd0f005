"""The story of an import in the browser: from the file to its result, and back."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from repairs.jobs import states
from repairs.jobs.models import Job, PastImport, UncodedRepair
from repairs.sheet_import.models import SheetDraft
from tests import make
from tests.repairs.sheet_import import messy, sheets
from tests.sent_forms import typed_in

pytestmark = pytest.mark.django_db


def upload(client, content, name="list.csv"):
    file = SimpleUploadedFile(name, content)
    return client.post("/imports/start/", {"file": file}, follow=True)


def save(client, page, path, **typed):
    """Send the main form of a page with what was typed, and open what follows."""
    return client.post(path, typed_in(page) | typed, follow=True)


def test_an_import_goes_from_the_file_to_its_result_and_back(owner):
    make.shop(country="GB")
    lines, _ = messy.rows(60)
    page = upload(owner, messy.text(lines).encode("cp1252"))
    draft = SheetDraft.objects.get()
    base = f"/imports/{draft.pk}/"
    assert "Western European" in page.text and "60 rows" in page.text

    chosen = typed_in(page)
    number = next(n for n, v in chosen.items() if v == "phone")
    wrong = owner.post(base, chosen | {number: "customer"})
    assert "“Kunde” is customer, too" in wrong.text
    page = save(owner, page, base)
    assert "2 rows have no day of handover" in page.text
    page = save(
        owner,
        page,
        f"{base}values/",
        without_handover="close",
        without_customer="unknown",
        without_outcome="fixed",
        default_kind="laptop",
    )
    # Whoever closes the browser finds the decisions again.
    assert draft.file in owner.get("/imports/").text
    assert 'value="laptop"' in owner.get(f"{base}values/").text

    assert page.text.count("<fieldset") == len(messy.PAIRS)
    page = save(owner, page, f"{base}faults/", name="1")
    assert page.text.count("New entry") == len(messy.PAIRS)
    page = save(owner, page, f"{base}faults/", split="g1:1", apart="1")
    assert page.text.count("<fieldset") == len(messy.PAIRS) + 1
    ticked = {"g1-is_merged": "on", "g5-is_merged": "on", "merge": "1"}
    page = save(owner, page, f"{base}faults/", **ticked)
    assert page.text.count("<fieldset") == len(messy.PAIRS)
    page = save(owner, page, f"{base}faults/", next="1")
    entry = {f"g{n}-entry": f"Work {n}" for n in range(1, len(messy.PAIRS) + 1)}
    page = save(owner, page, f"{base}fixes/", next="1", **entry)

    assert "“6.11.” has no year" in page.text
    page = save(owner, page, f"{base}preview/", **{"value-53-booked_in": "6.11.2022"})
    assert "has no year" not in page.text
    before = list(Job.objects.values())
    page = owner.get(f"{base}confirm/")
    assert list(Job.objects.values()) == before and "What will be created" in page.text
    assert "Comebacks after the import" in page.text
    page = save(owner, page, f"{base}confirm/")
    past = PastImport.objects.get()
    assert "list.csv is imported" in page.text and "Undo import" in page.text
    assert Job.objects.count() == past.counts["repairs.job"] == 60
    assert not SheetDraft.objects.exists()

    uncoded = UncodedRepair.objects.filter(outcome=states.FIXED)
    jobs = [one.job for one in uncoded]
    page = owner.get("/imports/uncoded/")
    coding = {
        "chosen": [one.pk for one in uncoded],
        "fault": jobs[0]
        .past_import.jobs.exclude(repairs=None)[0]
        .repairs.get()
        .fault.code,
        "outcome": "fixed",
    }
    page = owner.post("/imports/uncoded/", typed_in(page) | coding)
    assert "Enter the fix: the outcome is fixed" in page.text
    page = owner.post(
        "/imports/uncoded/",
        typed_in(owner.get("/imports/uncoded/")) | coding | {"fix": "WORK-1"},
        follow=True,
    )
    assert f"{len(jobs)} repairs coded" in page.text
    assert jobs[0].repairs.get().fix.code == "WORK-1"
    undone = owner.post(f"/imports/done/{past.pk}/undo/", follow=True)
    assert "cannot be undone" in undone.text and Job.objects.count() == 60

    # The next list of this kind is read as the last one.
    upload(owner, messy.text(lines[:20]).encode("utf-16"), name="again.csv")
    again = SheetDraft.objects.get()
    page = owner.get(f"/imports/{again.pk}/preview/")
    assert "To be decided" not in page.text and "On record already" in page.text
    assert (
        "There is no row to import" in owner.get(f"/imports/{again.pk}/confirm/").text
    )
    SheetDraft.objects.forget_old(at=again.changed_at + timedelta(days=15))
    assert not SheetDraft.objects.exists()


def test_a_bad_file_is_refused_beside_the_field_and_an_import_without_use_is_undone(
    owner,
):
    page = upload(owner, b"", name="empty.csv")
    assert "empty" in page.text and not SheetDraft.objects.exists()
    page = upload(owner, b"\xd0\xcf\x11\xe0" + bytes(600), name="old.xls")
    assert "protected by a password" in page.text and not SheetDraft.objects.exists()
    rows = [
        ["Name", "Date in", "Date out", "Device"],
        ["Ada", "1.2.2024", "2.2.2024", "X"],
    ]
    upload(owner, sheets.workbook(*rows), name="list.xlsx")
    draft = SheetDraft.objects.get()
    page = owner.get(f"/imports/{draft.pk}/confirm/")
    owner.post(f"/imports/{draft.pk}/confirm/", typed_in(page))
    job = Job.objects.get()
    assert (
        job.outcome == states.NOT_CODED
        and "not coded yet" in owner.get(job.get_absolute_url()).text
    )
    past = PastImport.objects.get()
    page = owner.post(f"/imports/done/{past.pk}/undo/", follow=True)
    assert "is undone" in page.text and not Job.objects.exists()


def test_imports_are_for_the_owner_and_coding_is_for_the_bench_too(bench):
    assert bench.get("/imports/").status_code == 403
    assert bench.get("/imports/uncoded/").status_code == 200
