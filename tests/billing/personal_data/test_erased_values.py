"""No value of an erased person is left; the database allows the erasure and no more."""

import sqlite3
from datetime import date

import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils.timezone import localdate

from billing.customer_page.models import Signature
from billing.invoices.models import Invoice, Payment
from billing.personal_data import erasing, erasure_log
from billing.personal_data.erasing import erase_customer
from billing.personal_data.inventory import INVENTORY, MARK
from billing.quotes.models import Quote
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import JobTransition
from shopdesk.recording import chain
from shopdesk.recording.models import Action
from shopdesk.shop.models import Shop
from tests import make
from tests.billing.personal_data.canaries import (
    all_guards,
    everything,
    full_customers,
    plant,
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


def erase(monkeypatch):
    """Erase the first of two customers full of canaries."""
    mine, other = full_customers()
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


@pytest.fixture
def erased(full_shop, db, monkeypatch):
    return erase(monkeypatch)


@pytest.mark.django_db(transaction=True)
def test_no_value_is_left_but_in_invoices(own_full_shop, backups, monkeypatch):
    mine, planted, of_others = erase(monkeypatch)
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
    text = everything()
    assert found_in(text, planted) == STAYS
    assert all(canary in text for canary in of_others)
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
