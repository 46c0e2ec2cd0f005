"""Two records of one customer or device become one, and nothing is lost or counted."""

from datetime import date

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from billing.invoices.models import Invoice
from billing.personal_data import erasure_log
from billing.personal_data.erasing import erase_customer
from billing.personal_data.merging import (
    customer_merge,
    device_merge,
    merge_customers,
    merge_devices,
)
from repairs.customers.models import Customer, Device
from repairs.jobs import states
from repairs.jobs.models import Comeback, Job
from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action
from tests import make
from tests.billing import till
from tests.billing.personal_data.canaries import everything
from tests.shopdesk.trail.entries import entries_of

pytestmark = pytest.mark.django_db


def test_only_these_records_belong_to_a_customer_or_a_device():
    """What else pointed at one would have to move, too."""
    links = {
        model: {f"{r.related_model.__name__}.{r.field.name}" for r in relations}
        for model in (Customer, Device)
        for relations in [model._meta.related_objects]
    }
    assert links == {
        Customer: {"Device.owner", "Job.customer", "Invoice.customer"},
        Device: {"Job.device"},
    }


def test_customers_merge_with_all_that_is_theirs(client):
    invoice = till.handed_over()
    gone, kept = invoice.customer, make.customer("Ada F.", phone="+442079460018")
    Customer.objects.filter(pk=gone.pk).update(email="ada@example.org", phone="+441")
    gone.refresh_from_db()
    printed = (invoice.buyer_name, bytes(invoice.pdf), invoice.pdf_sha256)
    plan = customer_merge(kept, gone)
    rows = {row.label: (row.stays, row.lost) for row in plan.differences}
    assert rows["name"] == ("Ada F.", "Ada Fenwick")
    assert rows["email"] == ("ada@example.org", "")
    assert rows["phone"] == ("+442079460018", "+441")
    assert plan.moves == [("devices", 1), ("jobs", 1), ("invoices and credit notes", 1)]
    client.force_login(make.user())
    page = f"{reverse('personal_data:merge_customers', args=[kept.pk])}"
    assert "Ada Fenwick" in client.get(page, {"query": "fenwick"}).content.decode()
    assert "+441" in client.get(page, {"other": gone.pk}).content.decode()
    assert client.post(f"{page}?other={gone.pk}").url == kept.get_absolute_url()
    kept.refresh_from_db()
    assert not Customer.objects.filter(pk=gone.pk).exists()
    assert (kept.name, kept.email, kept.phone) == (
        "Ada F.",
        "ada@example.org",
        "+442079460018",
    )
    invoice = Invoice.objects.get()
    assert (invoice.customer, invoice.job.customer) == (kept, kept)
    assert (invoice.buyer_name, bytes(invoice.pdf), invoice.pdf_sha256) == printed
    assert entries_of(kept)[-1][0] == Action.MERGED
    assert "its number ‘" in client.get(
        reverse("trail:record", args=["repairs.customer", kept.pk])
    ).content.decode().replace("&#x27;", "’")


def test_an_invoice_moves_only_with_its_job():
    invoice = till.handed_over()
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        Invoice.objects.filter(pk=invoice.pk).update(customer=make.customer())
    other = make.customer()
    Job.objects.filter(pk=invoice.job_id).update(customer=other)
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        Invoice.objects.filter(pk=invoice.pk).update(customer=other, buyer_name="x")
    assert Invoice.objects.filter(pk=invoice.pk).update(customer=other) == 1


def test_a_hold_is_not_lost_and_erased_customers_do_not_merge():
    kept, gone = make.customer("Ada"), make.customer("Ada")
    gone.keep_until, gone.keep_reason = date(2030, 1, 1), "Court case"
    gone.save()
    merge_customers(kept, gone, stamp=make.stamp())
    kept.refresh_from_db()
    assert (kept.keep_until, kept.keep_reason) == (date(2030, 1, 1), "Court case")
    with pytest.raises(RefusedError, match="are one already"):
        merge_customers(kept, gone, stamp=make.stamp())
    with pytest.raises(RefusedError, match="erased"):
        customer_merge(kept, make.customer("E", erased_on=make.DAY))


def test_who_was_merged_is_erased_with_the_other(settings, tmp_path):
    settings.BACKUP_DIR = tmp_path
    first, second, third = (make.customer(f"Canary {n}") for n in (1, 2, 3))
    merge_customers(second, third, stamp=make.stamp())
    merge_customers(first, second, stamp=make.stamp())
    device = make.device(first, serial="CANARY-A")
    make.device(first, serial="CANARY-B", board_revision="r2")
    other = Device.objects.get(serial="CANARY-B")
    merge_devices(device, other, stamp=make.stamp())
    erase_customer(first, stamp=make.stamp())
    text = everything().upper()
    assert "CANARY" not in text
    lines = list(erasure_log.read(tmp_path))
    assert [line.customer for line in lines] == [first.pk, second.pk, third.pk]
    assert [line.created_at for line in lines] == [
        customer.created_at for customer in (first, second, third)
    ]


def test_devices_merge_and_comebacks_stay_right():
    fault = make.fault()
    fix = make.fix(fault)
    kept = make.device(make.customer(), serial="")
    gone = make.device(kept.owner, serial="SN4711", board_revision="r2")
    done = make.past_repair(fault, fix, on=date(2026, 1, 10), of=gone)
    again = make.comeback(done, on=date(2026, 2, 1)).job
    make.hand_over(again, on=date(2026, 2, 3))
    make.past_repair(fault, fix, on=date(2026, 2, 3), of=kept)
    before = list(Comeback.objects.values())
    assert device_merge(kept, gone).moves == [("jobs", 2)]
    merge_devices(kept, gone, stamp=make.stamp())
    kept.refresh_from_db()
    assert (kept.serial, kept.serial_normalized) == ("SN4711", "SN4711")
    assert kept.board_revision == "r2" and kept.jobs.count() == 3
    assert list(Comeback.objects.values()) == before
    assert Comeback.objects.first_difference() == ""


def test_devices_that_were_here_at_once_are_two():
    owner = make.customer()
    one, two = make.device(owner), make.device(owner)
    make.job(one)
    make.job(two)
    with pytest.raises(RefusedError, match="are open"):
        device_merge(one, two)
    three, four = make.device(owner), make.device(owner)
    for device, day in ((three, 1), (four, 5)):
        job = make.job(device, on=date(2026, 1, day))
        make.hand_over(job, on=date(2026, 1, day + 9))
    with pytest.raises(RefusedError, match="at the same time"):
        merge_devices(three, four, stamp=make.stamp())
    assert three.jobs.count() == four.jobs.count() == 1
    assert Job.objects.filter(state=states.HANDED_OVER).count() == 2
    with pytest.raises(RefusedError, match="the same one"):
        device_merge(three, three)
