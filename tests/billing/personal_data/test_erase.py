"""After an erasure no value of the person is left, but every figure is as before."""

import json
import re
from datetime import date
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.urls import reverse

from billing.invoices.models import Invoice
from billing.personal_data import erasing, erasure_log
from billing.personal_data.erasing import erase_customer, reasons_to_keep
from billing.personal_data.inventory import INVENTORY
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.keeping.backup import backup
from shopdesk.keeping.nightly import nightly
from shopdesk.keeping.retention import Keep
from shopdesk.recording import chain
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.personal_data.canaries import (
    all_guards,
    everything,
    unguarded,
)


@pytest.fixture(autouse=True)
def backups(settings, tmp_path):
    settings.BACKUP_DIR = tmp_path / "backups"
    return settings.BACKUP_DIR


@pytest.mark.django_db
def test_every_column_of_a_guarded_table_is_kept_or_personal():
    """A column that a guard does not name could be changed with an erasure."""
    checked = 0
    for guard in all_guards():
        if guard.event != "UPDATE" or "erased_on" not in guard.when:
            continue
        [kind] = [h for h in INVENTORY if h.model._meta.db_table == guard.table]
        personal = {*kind.blanked, *kind.marked, *kind.later}
        for field in kind.model._meta.concrete_fields:
            named = f"OLD.{field.column} IS DISTINCT FROM NEW.{field.column}"
            column = f'"{field.column}"' if field.column == "to" else field.column
            emptied = f"length(coalesce(NEW.{column}, '')) = 0"
            is_personal = field.name in personal
            assert (emptied if is_personal else named) in guard.when, field
            assert is_personal or emptied not in guard.when, field
            checked += 1
    assert checked > 100


@pytest.mark.django_db
def test_open_jobs_money_and_returns_prevent_it(client):
    customer = make.customer()
    job = make.job(make.device(customer))
    on = make.DAY
    assert reasons_to_keep(customer, on=on) == [
        f"Job {job.number} is open (booked in)."
    ]
    with pytest.raises(RefusedError, match="is open"):
        erase_customer(customer, stamp=make.stamp())
    make.hand_over(job, on=on)
    assert reasons_to_keep(customer, on=on) == []
    customer.keep_until, customer.keep_reason = date(2026, 3, 9), "Dispute."
    customer.save()
    assert "Dispute" in reasons_to_keep(customer, on=on)[0]
    assert reasons_to_keep(customer, on=date(2026, 3, 10)) == []
    invoice = till.handed_over()
    [why] = reasons_to_keep(invoice.customer, on=on)
    assert why == f"Money is owed for job {invoice.job.number}."
    earlier = make.past_repair(make.fault(), make.fix(), on=make.DAY)
    again = make.comeback(earlier, on=date(2026, 4, 1), assessment=states.UNDECIDED).job
    make.hand_over(again, on=date(2026, 4, 2))
    [why] = reasons_to_keep(again.customer, on=date(2026, 4, 3))
    assert why == f"The return in job {again.number} is not assessed."
    client.force_login(make.user())
    page = client.get(reverse("personal_data:erase", args=[again.customer_id]))
    assert why in page.content.decode() and "Erase customer<" not in str(page.content)


@pytest.mark.django_db
def test_the_owner_erases_after_a_preview(client):
    job = make.job(complaint="Hums")
    make.hand_over(job, on=make.DAY)
    address = reverse("personal_data:erase", args=[job.customer_id])
    client.force_login(make.user(Role.COUNTER))
    assert client.get(address).status_code == 403
    client.force_login(make.user())
    page = client.get(address).content.decode()
    assert "complaint, in the customer’s words" in page and "Jobs" in page
    client.post(address, {})
    job.customer.refresh_from_db()
    assert job.customer.erased_on is None
    answer = client.post(address, {"is_understood": "on"})
    assert answer.url == job.customer.get_absolute_url()
    job.refresh_from_db()
    assert (str(job.customer), job.complaint) == (f"Erased #{job.customer_id}", "")


@pytest.mark.django_db
def test_no_erasure_without_its_line_beside_the_backups(settings, tmp_path):
    customer = make.customer()
    settings.BACKUP_DIR = tmp_path / "file"
    settings.BACKUP_DIR.write_text("in the way")
    with pytest.raises(RefusedError, match="Nothing was erased"):
        erase_customer(customer, stamp=make.stamp())
    customer.refresh_from_db()
    assert customer.erased_on is None


def test_a_line_cut_short_hides_no_later_one(tmp_path):
    customer = Customer(pk=7, created_at=make.stamp().at)
    (tmp_path / erasure_log.FILE).write_text("6 2026-03-0")
    erasure_log.add(tmp_path, customer, stamp=make.stamp(on=make.DAY))
    [line] = erasure_log.read(tmp_path)
    assert (line.customer, line.created_at) == (7, customer.created_at)
    assert line.erased_on == make.DAY


@pytest.mark.django_db(transaction=True)
def test_a_restored_backup_is_erased_again(databases, tmp_path):
    job = make.job(complaint="Canary 4711")
    stays = make.customer("Somebody else")
    make.hand_over(job, on=make.DAY)
    backup(tmp_path / "shop.zip")
    erase_customer(job.customer, stamp=make.stamp())
    erased_on = Customer.objects.get(pk=job.customer_id).erased_on
    empty(databases)
    call_command("restore", tmp_path / "shop.zip", stdout=StringIO())
    text = everything()
    assert "Canary 4711" not in text and "Ada Fenwick" not in text
    assert "Somebody else" in text
    assert Customer.objects.get(pk=job.customer_id).erased_on == erased_on
    assert TrailEntry.objects.filter(action=Action.ERASED).count() == 1
    assert erasing.erase_again(stamp=make.stamp()) == 0
    chain.seal()
    assert not chain.verify().wrong
    # The same number in another shop is another person.
    empty(databases)
    make.customer("Of another shop", pk=job.customer_id)
    assert erasing.erase_again(stamp=make.stamp()) == 0
    assert stays.pk != job.customer_id


@pytest.mark.django_db(transaction=True)
def test_the_night_finishes_what_a_restore_cut_short_has_left(backups):
    customer, idle = make.customer("Canary"), make.customer("Idle")
    make.shop(inactive_years=1)
    long_ago = make.stamp(on=date(2001, 1, 1)).at
    Customer.objects.filter(pk=idle.pk).update(created_at=long_ago)
    erasure_log.add(backups, customer, stamp=make.stamp(on=make.DAY))
    assert list(nightly(backups, on=make.DAY, keep=Keep())) == []
    customer.refresh_from_db()
    idle.refresh_from_db()
    assert customer.erased_on == make.DAY
    assert idle.erased_on is not None, "the deadlines are applied, too"


def empty(databases):
    if connection.vendor == "sqlite":
        databases.reset()
        return
    with unguarded():
        call_command("flush", verbosity=0, interactive=False, allow_cascade=True)


@pytest.mark.django_db
def test_the_comeback_table_and_the_month_stay_as_they_are(demo, monkeypatch, client):
    client.force_login(make.user())
    day = Job.objects.latest("booked_in_on").booked_in_on

    def figures():
        out = StringIO()
        call_command("comebacks", as_of=day, within=90, format="json", stdout=out)
        page = client.get(reverse("month:month"), {"as_of": day}).content.decode()
        page = re.sub(r'<input type="hidden"[^>]*>|<body [^>]*>', "", page)
        amounts = Invoice.objects.order_by("pk").values_list("issued_on", "net")
        return page, json.loads(out.getvalue()), list(amounts)

    before = figures()
    monkeypatch.setattr(erasing, "reasons_to_keep", lambda customer, on: [])
    came_back = Customer.objects.filter(jobs__comebacks__isnull=False)
    billed = Customer.objects.filter(invoices__isnull=False)
    pks = {*came_back.values_list("pk", flat=True)[:30]}
    pks |= {*billed.values_list("pk", flat=True)[:30]}
    for customer in Customer.objects.filter(pk__in=pks, erased_on=None):
        erase_customer(customer, stamp=make.stamp())
    assert Customer.objects.exclude(erased_on=None).count() > 20
    assert figures() == before
