"""Unique values in every column of every row that may hold personal data."""

from contextlib import contextmanager
from itertools import count

from django.apps import apps
from django.db import connection, models

from billing.customer_page.models import Signature
from billing.guards import GUARDS
from billing.handover.models import Collection
from billing.invoices.models import EInvoice
from billing.personal_data.inventory import INVENTORY
from billing.repair_form.models import DiagnosisConsent
from repairs.customers.models import Customer
from repairs.faults.models import Check
from repairs.guards import GUARDS as REPAIR_GUARDS
from repairs.jobs.models import (
    AccessCode,
    CheckResult,
    FinalTest,
    Job,
    Labour,
    PartReservation,
    PartUsed,
    Reading,
    StopgapAnswer,
    UncodedRepair,
    UnstockedPart,
)
from repairs.photos.actions import create_link
from shopdesk.keeping.restore import without_triggers
from shopdesk.recording.canonical import to_json
from shopdesk.triggers import ForbidChange
from tests import make
from tests.billing.all_kinds import AllKinds
from tests.repairs.photos.files import add

# A hash cannot be read back; the others are of the trade, not of a person.
HASHES = {"pdf_sha256", "file_hash", "token_hash", "message_id", "about"}
SHORTEST = 8


def two_customers():
    """Make two customers with all that a customer can be given, each kind once."""
    for _ in range(2):
        made = AllKinds().all()
        owner = made.device.owner
        add_the_rest(owner)
        made.device.refresh_from_db()
        made.device.serial = f"Q{owner.pk}"
        made.device.save()
        for job in Job.objects.filter(number__startswith="X-"):
            Job.objects.filter(pk=job.pk).update(number=f"{owner.pk}{job.number}")


def full_customers():
    """The customers of the fixtures `full_shop` and `own_full_shop`."""
    return Customer.objects.filter(devices__serial__startswith="Q").order_by("pk")


def fields_of(model):
    """The fields into which anything can be typed or stored."""
    for field in model._meta.concrete_fields:
        is_text = isinstance(field, models.CharField | models.TextField)
        is_free = not field.choices and (field.max_length or 999) >= SHORTEST
        is_planted = (is_text and is_free) or isinstance(field, models.BinaryField)
        if is_planted and field.name not in HASHES:
            yield field


@contextmanager
def unguarded():
    """Change what the database would refuse to change."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # It alters no table with checks that wait for the end of a transaction.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        with without_triggers("default"):
            yield cursor


def all_guards():
    """The guards that refuse a change."""
    guards = (*GUARDS, *REPAIR_GUARDS)
    return [guard for guard in guards if isinstance(guard, ForbidChange)]


def plant(customer, *, letter):
    """Fill every such column of the customer; return {canary: (model, field)}."""
    planted, numbers = {}, count(1)
    with unguarded() as cursor:
        for kind in INVENTORY:
            table = connection.ops.quote_name(kind.model._meta.db_table)
            key = kind.model._meta.pk.column
            pks = list(kind.rows(customer).values_list("pk", flat=True))
            assert pks, f"{kind.label}: none to test with"
            for field in fields_of(kind.model):
                column = connection.ops.quote_name(field.column)
                for pk in pks:
                    canary = f"z{letter}{next(numbers):05d}z"
                    is_binary = isinstance(field, models.BinaryField)
                    value = canary.encode() if is_binary else canary
                    cursor.execute(
                        f"UPDATE {table} SET {column} = %s WHERE {key} = %s",
                        [value, pk],
                    )
                    planted[canary] = (kind, field.name)
    return planted


def everything():
    """All that the database holds in all tables, as one text."""
    found = []
    for model in apps.get_models(include_auto_created=True):
        names = [field.attname for field in model._meta.concrete_fields]
        for row in model._base_manager.values_list(*names):
            for value in row:
                if isinstance(value, bytes | memoryview):
                    value = bytes(value).decode(errors="replace")
                found.append(str(to_json(value)))
    return "\n".join(found)


def add_the_rest(customer):
    """One row of each kind that no story of `AllKinds` makes."""
    full = {"repairs__isnull": False, "quotes__isnull": False}
    job = customer.jobs.filter(**full, invoices__isnull=False).first()
    repair, quote = job.repairs.first(), job.quotes.first()
    now = make.stamp().at
    AccessCode.objects.get_or_create(job=job, defaults={"ciphertext": b"x"})
    Labour.objects.create(job=job, minutes=3)
    UncodedRepair.objects.create(job=job, fault_text="dead", fix_text="fuse")
    Reading.objects.create(job=job, test_point="J1", value=1, read_at=now)
    check = Check.objects.get_or_create(name="Plug moved")[0]
    CheckResult.objects.create(job=job, check_made=check, result="ok", made_at=now)
    FinalTest.objects.create(repair=repair, tries=1, needed=1, run_at=now)
    PartUsed.objects.create(repair=repair, part=make.part())
    other = {"name": "hinge", "source": "customer", "added_at": now}
    UnstockedPart.objects.create(repair=repair, **other)
    kept = {"quantity": 1, "remaining": 1, "reserved_at": now}
    PartReservation.objects.create(job=job, part=make.part(), **kept)
    StopgapAnswer.objects.create(repair=repair, answer="holds", asked_on=make.DAY)
    Signature.objects.get_or_create(quote=quote, defaults={"ink": "M1 1L2 2"})
    Collection.objects.get_or_create(job=job, defaults={"to": "X", "at": now})
    link, _ = create_link(job, stamp=make.stamp())
    add(job, "navy", link=link)
    consent = {"fee": 5, "agreed_by": "X", "agreed_how": "phone", "agreed_at": now}
    DiagnosisConsent.objects.create(job=job, **consent)
    ubl = {"file": b"<?xml", "file_hash": "x", "made_at": now}
    EInvoice.objects.get_or_create(invoice=job.invoices.first(), defaults=ubl)
