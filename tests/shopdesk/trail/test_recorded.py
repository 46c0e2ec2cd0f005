"""Every change of a recorded model is in the trail, whatever call makes it."""

import ast
import re
from datetime import date
from decimal import Decimal

import pytest
from django.apps import apps
from django.db import models, transaction
from django.db.models import F
from django.utils import timezone

from repairs.customers.models import Customer
from repairs.faults.models import Check, Fix, MergedEntry, Symptom, UsualPart
from repairs.jobs.access_codes import store_access_code
from repairs.jobs.models import (
    AccessCode,
    CheckResult,
    FinalTest,
    Job,
    Labour,
    PartReservation,
    PartUsed,
    PastImport,
    Reading,
    StopgapAnswer,
    UncodedRepair,
    UnstockedPart,
)
from repairs.knowledge.models import BoardNote
from repairs.photos.models import Photo
from repairs.stock.models import Delivery, Part, PartOrder, Supplier
from shopdesk.api.models import ApiToken
from shopdesk.recording import recorded
from shopdesk.recording.models import TrailEntry
from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.shop.models import MarkupTier, Shop, TaxRate, TaxRule
from shopdesk.staff.models import User
from tests import make
from tests.repairs.photos.files import add
from tests.shopdesk.trail.entries import entries_of, last_entry
from tests.test_layout import SOURCES

ADDED_ONLY = "the database refuses to change its rows, which say who and when"
FOLLOWS = "follows from records that are recorded or cannot change"
TECHNICAL = "technical, says nothing of the shop's work"
DRAFT = "a draft until it is sent; from then on the database refuses changes"
UNRECORDED = {
    "shopdesk.trailentry": "is the trail",
    "shopdesk.verifiedbackup": "is written by the nightly backup, which is an event",
    "shopdesk.recoverycode": "belongs to a second factor, which is recorded",
    "shopdesk.requestcount": TECHNICAL,
    "shopdesk.sentform": TECHNICAL,
    "shopdesk.session": TECHNICAL,
    "shopdesk.series": TECHNICAL,
    "shopdesk.email": "says itself who wrote it, when, and what became of it",
    "shopdesk.attachment": "belongs to an email and is written with it",
    "repairs.changemark": TECHNICAL,
    "repairs.sheetdraft": "a draft until it is imported, which is an event",
    "repairs.sheetlayout": TECHNICAL,
    "repairs.comeback": FOLLOWS,
    "repairs.learntcase": FOLLOWS,
    "repairs.learntcount": FOLLOWS,
    "repairs.photofile": "its photo is recorded with its hash, and it cannot change",
    "repairs.photolink": "cannot change, but be revoked, and says by whom and when",
    "repairs.jobtransition": ADDED_ONLY,
    "repairs.returnassessment": ADDED_ONLY,
    "repairs.stockmovement": ADDED_ONLY,
    "billing.quote": DRAFT,
    "billing.quoteoption": DRAFT,
    "billing.quoteline": DRAFT,
    "billing.repairinformationform": DRAFT,
    "billing.link": "cannot change, but be revoked, and says by whom and when",
    "billing.parcel": "cannot change, but its number is added once",
    **{
        f"billing.{name}": ADDED_ONLY
        for name in """
        changeanswer changeline changeorder collection dayclose diagnosisconsent
        einvoice invoice invoiceline payment receipt reminder signature
        warrantycertificate
        """.split()
    },
}
MODELS = [
    model
    for app in ("shopdesk", "repairs", "billing")
    for model in apps.get_app_config(app).get_models()
]
RECORDED = [model for model in MODELS if issubclass(model, Recorded)]


def test_each_model_is_recorded_or_has_a_reason():
    others = {m._meta.label_lower for m in MODELS} - {
        m._meta.label_lower for m in RECORDED
    }
    assert others == set(UNRECORDED)


@pytest.mark.parametrize("model", RECORDED)
def test_a_recorded_model_is_reached_only_by_ways_that_record(model):
    for manager in model._meta.managers:
        assert isinstance(manager.get_queryset(), RecordedQuerySet)
    names = {field.name for field in model._meta.get_fields()}
    assert model.unrecorded | model.secret | model.costs <= names
    # The database would set these without a call that records.
    for field in model._meta.concrete_fields:
        if field.is_relation:
            silent = (models.SET_NULL, models.SET_DEFAULT, models.DO_NOTHING)
            assert field.remote_field.on_delete not in silent


def made(model):
    """A record of the model, a field of it, and another value of the field."""
    repair = make.repair()
    job = repair.job
    now = timezone.now()
    builders = {
        Customer: lambda: (make.customer(), "notes", "calls back"),
        Check: lambda: (Check.objects.create(name="Measure"), "where", "J1"),
        Symptom: lambda: (Symptom.objects.create(name="Hot"), "name", "Cold"),
        UsualPart: lambda: (
            UsualPart.objects.create(fix=make.fix(), part=make.part()),
            "quantity",
            3,
        ),
        Fix: lambda: (make.fix(), "minutes", 55),
        MergedEntry: lambda: (
            MergedEntry.objects.create(
                fix=make.fix(), old_id=7, code="OLD", name="Old", merged_on=make.DAY
            ),
            "code",
            "OLDER",
        ),
        BoardNote: lambda: (
            BoardNote.objects.create(
                fault=make.fault(), model=make.device_model(), text="Lift it."
            ),
            "board_revision",
            "r2",
        ),
        AccessCode: lambda: (
            AccessCode.objects.create(job=job, ciphertext=b"\x01x"),
            "ciphertext",
            b"\x01y",
        ),
        FinalTest: lambda: (
            FinalTest.objects.create(repair=repair, tries=2, needed=2, run_at=now),
            "note",
            "warm",
        ),
        StopgapAnswer: lambda: (
            StopgapAnswer.objects.create(
                repair=repair, answer="holds", asked_on=now.date()
            ),
            "answer",
            "came_back",
        ),
        Job: lambda: (make.job(), "due_on", date(2026, 5, 4)),
        Labour: lambda: (Labour.objects.create(job=job, minutes=5), "minutes", 15),
        Photo: lambda: (*add(job, "navy"), "caption", "Front"),
        PartUsed: lambda: (
            PartUsed.objects.create(repair=repair, part=make.part()),
            "price",
            Decimal("4.10"),
        ),
        PartReservation: lambda: (
            PartReservation.objects.create(
                job=job, part=make.part(), quantity=2, remaining=2, reserved_at=now
            ),
            "quantity",
            3,
        ),
        UnstockedPart: lambda: (
            UnstockedPart.objects.create(
                repair=repair, name="hinge", source="customer", added_at=now
            ),
            "note",
            "scratched",
        ),
        Reading: lambda: (
            Reading.objects.create(job=job, test_point="TP1", value=1, read_at=now),
            "value",
            Decimal("3.3"),
        ),
        CheckResult: lambda: (
            CheckResult.objects.create(
                job=job,
                check_made=Check.objects.create(name="Plug moved"),
                result="holds",
                made_at=now,
            ),
            "result",
            "drops out",
        ),
        PastImport: lambda: (
            PastImport.objects.create(
                file="list.csv", imported_at=now, rows=1, made_json="{}"
            ),
            "undone_at",
            now,
        ),
        UncodedRepair: lambda: (
            UncodedRepair.objects.create(job=job, fault_text="dead"),
            "fix_text",
            "new fuse",
        ),
        Part: lambda: (make.part(), "fixed_price", Decimal("9.90")),
        PartOrder: lambda: (
            PartOrder.objects.create(
                part=make.part(), quantity=2, outstanding=2, ordered_on=make.DAY
            ),
            "expected_on",
            date(2026, 5, 4),
        ),
        Supplier: lambda: (Supplier.objects.create(name="Norwind"), "name", "Sudwind"),
        Delivery: lambda: (
            Delivery.objects.create(
                part=make.part(),
                quantity=1,
                remaining=1,
                unit_cost=1,
                received_on=make.DAY,
            ),
            "unit_cost",
            Decimal("2"),
        ),
        Shop: lambda: (make.shop(), "hourly_rate", Decimal("70")),
        TaxRate: lambda: (
            TaxRate.objects.create(kind="standard", rate=20, starts_on=make.DAY),
            "rate",
            Decimal("21"),
        ),
        TaxRule: lambda: (
            TaxRule.objects.create(sold="labour", kind="exempt"),
            "reason",
            "Labour is not taxed",
        ),
        MarkupTier: lambda: (
            MarkupTier.objects.create(starts_at=10, percent=30),
            "percent",
            Decimal("25"),
        ),
        User: lambda: (make.user(), "role", "bench"),
        ApiToken: lambda: (
            ApiToken.objects.create(
                name="Stock figures",
                token_hash="x",
                works_until=now,
                created_at=now,
                created_by=make.user(),
            ),
            "revoked_at",
            now,
        ),
    }
    builders |= {
        type(record): lambda record=record, name=name, new=new: (record, name, new)
        for record, name, new in (
            (make.device(), "board_revision", "B"),
            (make.device_model(model="Slate 15"), "maker", "Other"),
            (make.fault(), "area", "power"),
            (repair, "note", "reflowed"),
        )
    }
    return builders[model]()


@pytest.mark.django_db
@pytest.mark.parametrize("way", ["save", "update", "bulk_update", "expression"])
@pytest.mark.parametrize("model", RECORDED)
def test_each_way_to_change_a_record_is_in_the_trail(model, way):
    record, name, new = made(model)
    (first, *_) = entries_of(record)
    assert first[0] == "created"
    record = model._base_manager.get(pk=record.pk)
    old, rows = getattr(record, name), model.objects.filter(pk=record.pk)
    written = TrailEntry.objects.count()
    if way == "update":
        assert rows.update(**{name: new}) == 1
    elif way == "expression":
        value = models.Value(new, output_field=model._meta.get_field(name))
        assert rows.update(**{name: value}) == 1
    else:
        setattr(record, name, new)
        if way == "save":
            record.save(update_fields=[name])
        else:
            model.objects.bulk_update([record], [name])
    assert TrailEntry.objects.count() == written + 1
    action, values = entries_of(record)[-1]
    assert action == "changed"
    if name == "ciphertext":
        assert values == {"ciphertext": None}
        return
    assert list(values) == [name]
    field = model._meta.get_field(name)
    assert [field.to_python(text) for text in values[name]] == [old, new]
    # The same values again change nothing.
    record.refresh_from_db()
    record.save()
    rows.update(**{name: new})
    assert TrailEntry.objects.count() == written + 1


@pytest.mark.django_db
@pytest.mark.parametrize("way", ["instance", "query set"])
@pytest.mark.parametrize("model", sorted(set(RECORDED) - {Shop}, key=str))
def test_each_way_to_delete_a_record_is_in_the_trail(model, way):
    record, *_ = made(model)
    kind, pk = model._meta.label_lower, record.pk
    (record.delete if way == "instance" else model.objects.filter(pk=pk).delete)()
    entry = TrailEntry.objects.get(kind=kind, record=pk, action="deleted")
    assert entry.values


def test_what_a_cascade_deletes_is_in_the_trail(ada):
    repair = make.repair()
    labour = Labour.objects.create(job=repair.job, repair=repair, minutes=12)
    repair.delete()
    entry = TrailEntry.objects.get(kind="repairs.labour", action="deleted")
    assert (entry.record, entry.parent_kind, entry.parent) == (
        labour.pk,
        "repairs.job",
        repair.job_id,
    )
    assert entry.values["minutes"] == [12, None]


def test_an_entry_says_who_when_through_what_and_where_it_is_shown(ada):
    before = timezone.now()
    job = make.job()
    Labour.objects.create(job=job, minutes=5)
    entry = last_entry()
    assert (entry.by, entry.by_name, entry.source) == (ada, "Ada Brook", "web")
    assert before <= entry.at <= timezone.now()
    assert (entry.kind, entry.parent_kind, entry.parent) == (
        "repairs.labour",
        "repairs.job",
        job.pk,
    )


def test_the_old_value_is_the_stored_one_even_if_the_record_was_loaded_before(ada):
    stale = make.customer(phone="1")
    Customer.objects.filter(pk=stale.pk).update(phone="2", notes="kept?")
    stale.phone = "3"
    stale.save()
    assert entries_of(stale)[-1][1] == {"phone": ["2", "3"], "notes": ["kept?", ""]}


def test_a_value_that_the_database_computes_is_recorded(ada):
    fix = make.fix(minutes=20)
    fix.minutes = F("minutes") + 15
    fix.save()
    assert entries_of(fix)[-1][1] == {"minutes": [20, 35]}


def test_secrets_leave_only_the_fact_that_they_changed(ada):
    job = make.job(data_access=Job.DataAccess.YES)
    store_access_code(job, code="2580-canary")
    ada.set_own_password("a canary of nine words")
    shop = make.shop()
    Shop.objects.filter(pk=1).update(logo=b"canary")
    assert entries_of(ada)[-1][1] == {"password": None}
    assert entries_of(shop)[-1][1] == {"logo": None}
    stored = "".join(TrailEntry.objects.values_list("details", flat=True))
    assert "canary" not in stored
    assert "argon2" not in stored
    assert bytes(AccessCode.objects.get().ciphertext).hex() not in stored


def test_links_between_records_are_recorded_from_either_side(ada):
    one, two, fix = make.fault(), make.fault(), make.fix()
    fix.faults.add(one, two)
    assert entries_of(fix)[-1] == ("changed", {"faults": [[], [one.pk, two.pk]]})
    fix.faults.set([two])
    assert entries_of(fix)[-1] == ("changed", {"faults": [[one.pk], []]})
    one.fixes.add(fix)
    assert entries_of(fix)[-1] == ("changed", {"faults": [[], [one.pk]]})
    written = TrailEntry.objects.count()
    one.fixes.add(fix)
    fix.faults.remove(make.fault())
    assert TrailEntry.objects.count() == written + 1  # the fault just made
    fix.faults.clear()
    assert entries_of(fix)[-1][1] == {"faults": [[one.pk, two.pk], []]}
    here, there = make.part(), make.part()
    here.substitutes.add(there)
    for part, other in ((here, there), (there, here)):
        assert entries_of(part)[-1][1] == {"substitutes": [[], [other.pk]]}


def test_an_update_of_more_rows_than_one_statement_takes_is_recorded(ada, monkeypatch):
    monkeypatch.setattr(recorded, "BATCH", 3)
    makes = [make.customer() for _ in range(7)]
    Customer.objects.filter(pk__in=[c.pk for c in makes[1:]]).update(notes="moved")
    assert [len(entries_of(customer)) for customer in makes] == [1] + 6 * [2]


def test_a_change_taken_back_leaves_no_entry(ada):
    customer = make.customer()
    written = TrailEntry.objects.count()
    with transaction.atomic():
        customer.notes = "no"
        customer.save()
        transaction.set_rollback(True)
    assert TrailEntry.objects.count() == written


def test_reading_and_saving_what_is_not_recorded_ask_nothing_more(
    ada, django_assert_num_queries
):
    customer = make.customer()
    with django_assert_num_queries(1):
        Customer.objects.get(pk=customer.pk)
    with django_assert_num_queries(1):
        ada.save(update_fields=["last_login"])
    with django_assert_num_queries(1):
        Job.objects.filter(pk=0).update(version=F("version") + 1)
    customer.notes = "new"
    with django_assert_num_queries(3):  # the old values, the change, the entry
        customer.save()


# --- no other way around ------------------------------------------------------

RAW = {
    "repairs.comebacks.queries": "reads",
    "repairs.jobs.models.change_marks": "writes marks",
    "repairs.jobs.models.return_assessment": "writes comebacks",
    "repairs.sheet_import.undoing": "undoes an import, which is one event",
    "shopdesk.checks": "reads",
    "shopdesk.keeping.integrity": "reads",
    "shopdesk.keeping.migrating": "drops and creates triggers",
    "shopdesk.keeping.nightly": "reads",
    "shopdesk.keeping.restore": "drops and creates triggers",
    "shopdesk.keeping.search_indexes": "builds tables to search in",
    "shopdesk.keeping.snapshot": "reads",
    "shopdesk.keeping.tables": "restores rows as they were, with their trail",
    "shopdesk.lookup": "reads",
    "shopdesk.recording.chain": "seals entries of the trail",
    "shopdesk.serving.analysis_database": "reads",
}
AT_ONCE = {
    "repairs.history.linked_records": "an import is one event",
    "shopdesk.demo.setup": "an invented shop",
    "shopdesk.demo.past_import": "an invented shop",
}


def calls(source):
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            yield node.func.attr, ast.unparse(node.func.value)


def test_sql_is_written_in_few_places_and_none_changes_a_recorded_table():
    raw = {"execute", "executemany", "executescript", "raw", "execute_sql"}
    raw |= {"_raw_delete", "_update", "_insert"}
    found = {
        name
        for name, source in SOURCES.items()
        if any(call in raw for call, _ in calls(source))
    }
    assert found == set(RAW)
    tables = "|".join(model._meta.db_table for model in RECORDED)
    writes = rf"(?i)\b(INSERT\s+INTO|UPDATE|DELETE\s+FROM)\s+\"?({tables})\b"
    assert [name for name, source in SOURCES.items() if re.search(writes, source)] == []


def test_rows_are_created_at_once_only_by_imports():
    recorded = {model.__name__ for model in RECORDED}
    for name, source in SOURCES.items():
        for call, on in calls(source):
            if call == "bulk_create" and name not in AT_ONCE:
                assert on.split(".")[0] not in recorded, name
            # A plain manager of Django records nothing.
            if call in ("update", "delete", "create"):
                assert "_base_manager" not in on, name
