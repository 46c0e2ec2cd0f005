"""Events of the trail: sign-ins, codes shown, downloads, imports, backups."""

from datetime import date
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from billing.day_close.actions import close_day
from repairs.jobs.access_codes import show_access_code, store_access_code
from repairs.jobs.models import Job
from shopdesk.keeping.backup import backup
from shopdesk.keeping.nightly import nightly
from shopdesk.keeping.restore import restore
from shopdesk.keeping.retention import Keep
from shopdesk.recording import chain
from shopdesk.recording.acting import act_as_command, acting, current
from shopdesk.recording.models import CHANGES, TrailEntry
from shopdesk.staff import second_factor
from shopdesk.staff.forms import SignInCodeForm
from shopdesk.staff.models import Role, User
from tests import make
from tests.billing import till
from tests.billing.customer_page.conftest import customer_of
from tests.repairs.history import files
from tests.shopdesk.keeping.test_backup import empty_database
from tests.shopdesk.trail.entries import entries_of, last_entry

PASSWORD = "nine quiet herons at dusk"


def events(*actions):
    found = TrailEntry.objects.order_by("id").exclude(action__in=CHANGES)
    return [
        (entry.action, entry.by, entry.source, entry.values)
        for entry in (found.filter(action__in=actions) if actions else found)
    ]


@pytest.fixture
def kim(db):
    return User.objects.create_user("kim", PASSWORD, name="Kim", role=Role.OWNER)


def sign_in(client, name, password):
    data = {"username": name, "password": password}
    return client.post(reverse("staff:sign_in"), data)


def test_signing_in_and_out_is_recorded(client, kim):
    sign_in(client, "kim", PASSWORD)
    client.post(reverse("staff:sign_out"))
    assert events() == [
        ("signed_in", kim, "web", {}),
        ("signed_out", kim, "web", {}),
    ]
    assert last_entry().record == kim.pk


def test_a_failed_sign_in_is_recorded_without_a_name_that_is_none(client, kim):
    sign_in(client, "kim", "wrong canary")
    sign_in(client, "canary-typed-as-name", "x")
    known, unknown = TrailEntry.objects.filter(action="sign_in_failed").order_by("id")
    assert (known.kind, known.record, known.by) == ("shopdesk.user", kim.pk, None)
    assert (unknown.kind, unknown.record, unknown.values) == ("", None, {})
    assert "canary" not in str(list(TrailEntry.objects.values_list()))


def test_a_wrong_code_of_the_second_factor_is_recorded(kim):
    kim.totp_secret = second_factor.encrypt_secret(second_factor.new_secret(), kim)
    kim.totp_confirmed_at = timezone.now()
    kim.save()
    assert entries_of(kim)[-1][1]["totp_secret"] is None
    assert not SignInCodeForm(kim, {"code": "wrong-canary"}).is_valid()
    assert entries_of(kim)[-1] == ("wrong_secret", {})
    assert "canary" not in str(list(TrailEntry.objects.values_list()))


def test_guessing_while_locked_out_does_not_fill_the_trail(client, kim):
    for _ in range(12):
        sign_in(client, "kim", "wrong")
    assert 0 < len(events("sign_in_failed")) <= 6


def test_a_request_names_who_acts_and_forgets_it_after(client, kim):
    client.force_login(kim)
    customer = make.customer()
    client.post(
        reverse("customers:change", args=[customer.pk]),
        {"name": "Ada Fenwick", "preferred_contact": "post", "tax_kind": ""},
    )
    entry = last_entry()
    assert (entry.record, entry.by_name, entry.source) == (customer.pk, "Kim", "web")
    assert entry.values == {"preferred_contact": ["phone", "post"]}
    assert current().by is None


def test_an_answer_by_link_is_the_customers(db):
    make.shop()
    job = till.sent(on=timezone.localdate()).job
    written = TrailEntry.objects.count()
    assert customer_of(job).send("yes", who="Ada Fenwick").status_code == 303
    entries = TrailEntry.objects.order_by("id")[written:]
    [approved] = [e for e in entries if "state" in e.values and e.record == job.pk]
    assert approved.values["state"] == ["quoted", "approved"]
    assert (approved.by, approved.source) == (None, "customer link")


def test_a_command_is_named(db):
    before = current()
    act_as_command("shell")
    try:
        make.customer()
        assert last_entry().source == "command shell"
        with acting("web"):
            assert current().source == "web"
    finally:
        act_as_command(before.source.removeprefix("command "))


def test_showing_an_access_code_is_recorded_with_its_reason(ada):
    job = make.job(data_access=Job.DataAccess.YES)
    store_access_code(job, code="2580")
    show_access_code(job, why="to test the touch screen", stamp=make.stamp(by=ada))
    assert entries_of(job)[-1] == ("code_shown", {"why": "to test the touch screen"})
    assert last_entry().by == ada


def test_a_new_passphrase_is_recorded_and_never_shown(client, kim):
    client.force_login(kim)
    other = make.user(Role.BENCH)
    answer = client.post(reverse("staff:reset", args=[other.pk]))
    assert ("passphrase_issued", {}) in entries_of(other)
    passphrase = answer.context["passphrase"]
    assert passphrase not in str(list(TrailEntry.objects.values_list()))


@pytest.mark.parametrize("name", ["comebacks:csv", "comebacks:json", "month:pdf"])
def test_downloading_a_report_is_recorded(client, kim, name):
    client.force_login(kim)
    answer = client.get(reverse(name))
    assert answer.status_code == 200
    action, by, source, facts = events("downloaded")[0]
    assert (by, source) == (kim, "web")
    assert facts["file"] in answer["Content-Disposition"]


def test_downloading_the_payments_of_a_day_is_recorded(client, kim):
    client.force_login(kim)
    close = close_day(day=date(2026, 3, 2), counted=0, stamp=make.stamp(by=kim))
    client.get(reverse("day_close:csv", args=[close.pk]))
    assert events("downloaded")[0][3] == {"file": "till-2026-03-02-EUR.csv"}


def test_an_import_is_one_event_with_the_number_of_records(db, tmp_path):
    files.import_file(files.write(tmp_path, files.row()))
    [(_, _, _, facts)] = events("imported")
    assert facts["file"] == "past.csv"
    assert facts["repairs.job"] == facts["repairs.customer"] == 1
    assert TrailEntry.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_backup_holds_the_trail_and_the_restored_chain_holds(databases, tmp_path):
    make.customer()
    call_command("backup", str(tmp_path / "shop.zip"), stdout=StringIO())
    assert events("backed_up")[0][3]["file"] == "shop.zip"
    backup(tmp_path / "second.zip")
    before = chain.verify()
    assert before.count == 2
    for vendor in {"sqlite", connection.vendor}:
        with empty_database(databases, tmp_path, vendor) as alias:
            restore(tmp_path / "second.zip", using=alias)
            assert chain.verify(using=alias) == before


@pytest.mark.django_db(transaction=True)
def test_the_night_seals_verifies_and_notes_the_last_entry(tmp_path):
    make.customer()
    assert list(nightly(tmp_path, on=make.DAY, keep=Keep())) == []
    found = chain.verify()
    assert (found.count, found.unsealed) == (2, 0)  # the customer, the backup
    note = tmp_path / "trail.txt"
    assert note.read_text() == f"2:{found.hash}\n"
    note.write_text("7:abc\n")
    [wrong] = nightly(tmp_path, on=make.DAY, keep=Keep())
    assert wrong.startswith("Entry 7 of the trail is missing")
    assert list(nightly(tmp_path, on=make.DAY, keep=Keep())) == []
