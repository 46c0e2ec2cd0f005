"""After an erasure no value of the person is left, but every figure is as before."""

import json
import re
import sqlite3
from datetime import date
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils.timezone import localdate

from billing.customer_page.models import Signature
from billing.guards import GUARDS
from billing.invoices.models import Invoice, Payment
from billing.personal_data import erasing, erasure_log
from billing.personal_data.erasing import erase_customer, reasons_to_keep
from billing.personal_data.inventory import INVENTORY, MARK
from billing.quotes.models import Quote
from repairs.customers.models import Customer
from repairs.guards import GUARDS as REPAIR_GUARDS
from repairs.jobs import states
from repairs.jobs.models import Job, JobTransition
from shopdesk.errors import RefusedError
from shopdesk.keeping.backup import backup
from shopdesk.keeping.nightly import nightly
from shopdesk.keeping.retention import Keep
from shopdesk.recording import chain
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from shopdesk.triggers import ForbidChange
from tests import make
from tests.billing import till
from tests.billing.personal_data.canaries import (
    everything,
    plant,
    two_customers,
    unguarded,
)
from tests.shopdesk.trail.entries import entries_of

# Facts of the trade, which statistics need and which name nobody.
STAYS = {
    *[("Job", "number"), ("Device", "board_revision"), ("Device", "maker_key")],
    *[("Reading", "test_point"), ("Reading", "unit"), ("Parcel", "carrier")],
    *[("QuoteLine", "tax_reason"), ("ChangeLine", "tax_reason")],
    *[("InvoiceLine", "tax_reason"), ("Invoice", "series"), ("Receipt", "series")],
    *[("Invoice", "seller_name"), ("Invoice", "seller_address")],
    *[("Invoice", "seller_tax_id"), ("CheckResult", "result")],
    # Words are hashes there: see test_learning.py.
    *[("LearntCase", "board"), ("LearntCase", "features")],
}
RETAINED = {(h.model.__name__, name) for h in INVENTORY for name in h.later}


@pytest.fixture(autouse=True)
def backups(settings, tmp_path):
    settings.BACKUP_DIR = tmp_path / "backups"
    return settings.BACKUP_DIR


def close_all(customer):
    """Leave nothing open, owed or undecided."""
    with unguarded():
        Payment.objects.filter(job__customer=customer).update(amount=1)
        for job in customer.jobs.all():
            job.decisions.filter(assessment=states.UNDECIDED).delete()
            make.hand_over(job, on=job.handed_over_on or localdate())


def found_in(text, planted):
    return {
        (kind.model.__name__, name)
        for canary, (kind, name) in planted.items()
        if canary in text
    }


@pytest.fixture
def erased(monkeypatch):
    """Two customers full of canaries, of whom the first was erased."""
    mine, other = two_customers()
    # What the trail remembers, too.
    for job in mine.jobs.all():
        job.complaint = "Canary in the trail"
        job.save()
    mine.notes = "Canary in the trail"
    mine.save()
    close_all(mine)
    planted, of_others = plant(mine, letter="a"), plant(other, letter="b")
    mine.refresh_from_db()
    monkeypatch.setattr(erasing, "reasons_to_keep", lambda customer, on: [])
    erase_customer(mine, stamp=make.stamp(by=make.user()))
    monkeypatch.undo()
    mine.refresh_from_db()
    return mine, planted, of_others


@pytest.mark.django_db(transaction=True)
def test_no_value_is_left_but_in_invoices(erased, backups):
    mine, planted, of_others = erased
    text = everything()
    assert found_in(text, planted) == STAYS | RETAINED
    assert all(canary in text for canary in of_others)
    assert "Canary in the trail" not in text
    assert (str(mine), mine.search.strip(" |")) == (
        f"Erased #{mine.pk}",
        f"erased #{mine.pk}",
    )
    chain.seal()
    assert not chain.verify().wrong
    action, values = entries_of(mine)[-1]
    assert (action, values) == (Action.ERASED, {})
    [line] = erasure_log.read(backups)
    assert (line.customer, line.erased_on) == (mine.pk, mine.erased_on)
    if connection.vendor == "sqlite":
        kept = found_in(file_bytes(), planted)
        assert kept == STAYS | RETAINED


def file_bytes():
    """The bytes of the database file, as anyone with the disk reads them."""
    name = connection.settings_dict["NAME"]
    connection.close()
    database = sqlite3.connect(name)
    database.execute("VACUUM")
    database.close()
    with open(name, "rb") as file:
        return file.read().decode("latin-1")


@pytest.mark.once
@pytest.mark.django_db
def test_every_page_of_an_erased_customer_still_opens(erased, client):
    mine, *_ = erased
    client.force_login(make.user())
    pages = [mine.get_absolute_url(), reverse("personal_data:overview", args=[mine.pk])]
    for job in mine.jobs.all():
        pages += [
            reverse(name, args=[job.pk])
            for name in """bench:job quotes:for_job changes:for_job invoices:for_job
            handover:hand_over customer_links:for_job repair_form:for_job
            intake:booked""".split()
        ]
        pages += [quote.get_absolute_url() for quote in job.quotes.all()]
        pages += [form.get_absolute_url() for form in job.repair_forms.all()]
        pages += [invoice.get_absolute_url() for invoice in job.invoices.all()]
    assert len(pages) > 40
    broken = {page: client.get(page).status_code for page in pages}
    assert {page: code for page, code in broken.items() if code != 200} == {}
    quote = Quote.objects.filter(job__customer=mine).exclude(sent_at=None).first()
    assert client.get(reverse("quotes:paper", args=[quote.pk])).status_code == 404


@pytest.mark.once
@pytest.mark.django_db
def test_documents_are_erased_after_the_legal_period_and_not_before(erased):
    mine, planted, of_others = erased
    shop = Shop.current()
    last = Invoice.objects.filter(customer=mine).latest("issued_on").issued_on
    assert erasing.erase_documents(on=last.replace(year=last.year + 10), shop=shop) == 0
    assert found_in(everything(), planted) >= RETAINED
    # The database itself refuses it before its time, whoever asks.
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        Invoice.objects.filter(customer=mine).update(buyer_name=MARK)
    with unguarded():
        old = date(last.year - 11, 12, 31)
        Invoice.objects.filter(customer=mine).update(issued_on=old)
        Payment.objects.filter(job__customer=mine).update(paid_on=old, booked_on=old)
    sums = list(Invoice.objects.order_by("pk").values_list("net", "tax", "gross"))
    assert erasing.erase_documents(on=last, shop=shop) > 5
    assert found_in(everything(), planted) == STAYS
    assert all(canary in everything() for canary in of_others)
    assert sums == list(
        Invoice.objects.order_by("pk").values_list("net", "tax", "gross")
    )
    assert erasing.erase_documents(on=last, shop=shop) == 0


# Their guards start only when they are sent or issued: the next test.
DRAFTS = {"billing_quote", "billing_quoteoption", "billing_quoteline"} | {
    "billing_repairinformationform"
}
# These may be changed anyhow, but for other columns.
CHANGEABLE = {"repairs_job", "repairs_repair", "repairs_device"}


@pytest.mark.django_db
def test_the_database_allows_exactly_the_erasure(erased):
    mine, *_ = erased
    other = Customer.objects.exclude(pk=mine.pk).filter(invoices__isnull=False).last()
    guards = {(guard.table, guard.event) for guard in all_guards()}
    tried = 0
    for kind in INVENTORY:
        table = kind.model._meta.db_table
        own, others = kind.rows(mine), kind.rows(other)
        if kind.is_deleted and (table, "DELETE") in guards:
            refused(others.delete)
            tried += 1
        if (table, "UPDATE") not in guards or table in DRAFTS | CHANGEABLE:
            continue
        for name in [*kind.blanked, *kind.marked]:
            is_file = name == "pdf"
            refused(others.update, **{name: b"" if is_file else MARK})
            if name != "number":  # of a parcel: it may be added later
                refused(own.update, **{name: b"new" if is_file else "new"})
            own.update(**{name: b"" if is_file else MARK})
            tried += 1
    assert tried > 15


def all_guards():
    guards = (*GUARDS, *REPAIR_GUARDS)
    return [guard for guard in guards if isinstance(guard, ForbidChange)]


def refused(change, **values):
    with pytest.raises(DatabaseError, match="cannot be"), transaction.atomic():
        change(**values)


@pytest.mark.once
@pytest.mark.django_db
def test_a_sent_quote_of_an_erased_customer_is_still_frozen(erased):
    mine, _, _ = erased
    sent = Quote.objects.exclude(sent_at=None)
    others = sent.exclude(job__customer=mine)
    own = sent.filter(job__customer=mine)
    refused(others.update, findings="")
    refused(own.update, findings="new")
    refused(own.update, findings="", currency="XXX")
    assert own.update(findings="") == own.count()
    history = JobTransition.objects.filter(job__customer=mine)
    refused(history.update, why="", to_state=states.READY)
    refused(history.update, why="new")
    refused(Signature.objects.exclude(quote__job__customer=mine).delete)


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
