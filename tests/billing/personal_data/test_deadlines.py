"""What is due is listed, deleted once, and never where data is kept for a reason."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from billing.personal_data.deadlines import (
    apply_deadlines,
    codes_due,
    due,
    months_before,
)
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import AccessCode, JobTransition
from repairs.photos.models import PhotoFile
from shopdesk.mail.actions import write
from shopdesk.mail.models import Email
from tests import make
from tests.repairs.photos.files import add

ON = date(2026, 3, 31)


@pytest.fixture(autouse=True)
def shop(db, settings, tmp_path):
    settings.BACKUP_DIR = tmp_path
    return make.shop(code_days=30, email_months=1, photo_months=24, inactive_years=3)


def ready(*, on, **facts):
    job = make.job(
        make.device(make.customer(**facts)),
        state=states.READY,
        outcome=states.FIXED,
    )
    at = make.stamp(on=on).at
    JobTransition.objects.create(job=job, to_state=states.READY, made_at=at)
    return AccessCode.objects.create(job=job, ciphertext=b"\x01x")


def email(*, on, sent=True, about=""):
    stamp = make.stamp(on=on)
    made = write("ada@example.org", subject="S", text="T", about=about, stamp=stamp)
    if sent:
        made.mark_sent(stamp.at)
    return made


def visitor(name, *, last, **facts):
    customer = make.customer(name, **facts)
    job = make.job(make.device(customer), on=last)
    make.hand_over(job, on=last)
    Customer.objects.filter(pk=customer.pk).update(
        created_at=make.stamp(on=date(2015, 1, 1)).at
    )
    return customer


def test_all_that_is_due_goes_and_the_second_night_finds_nothing(shop):
    held = {"keep_until": ON, "keep_reason": "Dispute"}
    gone = [ready(on=ON - timedelta(days=30)), email(on=date(2026, 2, 28))]
    stays = [
        ready(on=ON - timedelta(days=29)),
        ready(on=ON - timedelta(days=90), **held),
        email(on=date(2026, 3, 1)),
        email(on=date(2025, 1, 1), sent=False),
    ]
    kept = visitor("Kept", last=date(2020, 1, 1), **held)
    page = reverse("handover:hand_over", args=[kept.jobs.get().pk])
    stays.append(email(on=date(2025, 1, 1), about=page))
    idle = visitor("Idle", last=date(2023, 3, 31))
    recent = visitor("Recent", last=date(2023, 4, 1))
    (photo,) = add(recent.jobs.get(), "navy", caption="Front")
    stays += add(visitor("Later", last=date(2024, 4, 1)).jobs.get(), "navy")
    stays += add(kept.jobs.get(), "navy")
    assert [row.count for row in due(on=ON, shop=shop)] == [1, 1, 1, 1, 0]
    assert Email.objects.count() == 4, "a dry run deletes nothing"
    apply_deadlines(stamp=make.stamp(on=ON))
    for row in gone:
        assert not type(row).objects.filter(pk=row.pk).exists()
    for row in stays:
        assert type(row).objects.filter(pk=row.pk).exists()
    assert set(PhotoFile.objects.values_list("photo", flat=True)) == {
        photo.pk for photo in stays[-2:]
    }
    photo.refresh_from_db()
    assert photo.removed_why == "The time for photos is over."
    for customer in (idle, recent, kept):
        customer.refresh_from_db()
    assert (idle.erased_on, recent.erased_on, kept.erased_on) == (ON, None, None)
    assert [row.count for row in due(on=ON, shop=shop)] == [0, 0, 0, 0, 0]
    apply_deadlines(stamp=make.stamp(on=ON))
    # The day after the last day of the hold it is due.
    assert codes_due(on=ON + timedelta(days=1), shop=shop).count() == 2


def test_without_deadlines_emails_and_customers_are_kept():
    shop = make.shop(email_months=None, photo_months=None, inactive_years=None)
    email(on=date(2001, 1, 1))
    add(visitor("Idle", last=date(2001, 1, 1)).jobs.get(), "navy")
    assert [row.count for row in due(on=ON, shop=shop)] == [0, 0, 0, 0, 0]


def test_a_month_ends_with_its_last_day():
    assert months_before(date(2026, 3, 31), 1) == date(2026, 2, 28)
    assert months_before(date(2026, 1, 15), 13) == date(2024, 12, 15)
    assert months_before(date(2024, 2, 29), 12) == date(2023, 2, 28)


def test_the_owner_sees_what_is_due_and_keeps_a_customer(client):
    customer = visitor("Idle Ida", last=timezone.localdate() - timedelta(days=1500))
    client.force_login(make.user())
    assert "Idle Ida" in client.get(reverse("personal_data:due")).content.decode()
    page = reverse("personal_data:overview", args=[customer.pk])
    until = timezone.localdate() + timedelta(days=30)
    refused = client.post(page, {"keep_until": until, "keep_reason": ""})
    assert "Enter the reason." in refused.content.decode()
    client.post(page, {"keep_until": until, "keep_reason": "Court case"})
    listed = client.get(reverse("personal_data:due")).content.decode()
    assert "Customers to be erased" not in listed and "Court case" in listed
