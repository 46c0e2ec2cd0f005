"""The night's work: a backup, verified; old ones deleted; wrong sums named."""

import os
import shutil
import time
from datetime import date, datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from repairs.stock.actions import count
from shopdesk.keeping.backup import verify
from shopdesk.keeping.models import VerifiedBackup
from shopdesk.keeping.nightly import backups, nightly, problems
from shopdesk.keeping.retention import Keep, kept
from shopdesk.staff.models import Role
from tests import make

ON = date(2026, 3, 5)


def test_days_weeks_and_months_are_kept():
    """A backup each night of two years; the expected days are written out."""
    nights = [ON - timedelta(days=n) for n in range(730)]
    days = kept(nights, keep=Keep(daily=7, weekly=4, monthly=12))
    daily = [date(2026, 2, 27), date(2026, 2, 28)] + [
        date(2026, 3, day) for day in (1, 2, 3, 4, 5)
    ]
    # Sundays, and the week that has begun.
    weekly = [date(2026, 2, 15), date(2026, 2, 22), date(2026, 3, 1)]
    monthly = [
        *(date(2025, month, last) for month, last in ((4, 30), (5, 31), (6, 30))),
        *(date(2025, month, last) for month, last in ((7, 31), (8, 31), (9, 30))),
        *(date(2025, month, last) for month, last in ((10, 31), (11, 30), (12, 31))),
        date(2026, 1, 31),
    ]
    assert days == {*daily, *weekly, *monthly}


def test_a_shop_that_was_closed_loses_no_backup_for_that():
    rare = [date(2025, 1, 7), date(2025, 6, 3), date(2026, 3, 2)]
    assert kept(rare, keep=Keep()) == set(rare)
    assert kept(rare, keep=Keep(daily=1, weekly=0, monthly=0)) == {rare[-1]}
    assert kept([], keep=Keep()) == set()


@pytest.mark.django_db(transaction=True)
def test_a_night_leaves_one_verified_backup_and_may_be_repeated(tmp_path):
    make.customer()
    for _ in range(2):
        assert list(nightly(tmp_path, on=ON, keep=Keep())) == []
    [file] = backups(tmp_path).values()
    assert verify(file)["tables"]["repairs_customer"]["rows"] == 1
    stored = VerifiedBackup.objects.get()
    assert (stored.file, stored.size) == (file.name, file.stat().st_size)
    assert stored.taken_at == datetime.fromisoformat(verify(file)["made_at"])


@pytest.mark.django_db(transaction=True)
def test_backups_no_longer_kept_are_deleted_and_other_files_never(tmp_path):
    list(nightly(tmp_path, on=ON, keep=Keep()))
    [file] = backups(tmp_path).values()
    for days in range(1, 12):
        shutil.copy(file, tmp_path / f"shop-{ON - timedelta(days=days)}.zip")
    (tmp_path / "shop-by-hand.zip").write_text("mine")
    for name, days in (("shop-a.zip.1.part", 2), ("shop-b.zip.2.part", 0)):
        (tmp_path / name).write_text("killed")
        moment = time.time() - days * 86_400
        os.utime(tmp_path / name, (moment, moment))
    list(nightly(tmp_path, on=ON + timedelta(days=1), keep=Keep(2, 0, 0)))
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "shop-2026-03-05.zip",
        "shop-2026-03-06.zip",
        "shop-b.zip.2.part",
        "shop-by-hand.zip",
        "trail.txt",
    ]


@pytest.mark.django_db(transaction=True)
def test_a_damaged_backup_is_put_aside_and_taken_again_the_next_time(tmp_path):
    file = tmp_path / f"shop-{ON}.zip"
    file.write_bytes(b"half a file")
    [wrong] = nightly(tmp_path, on=ON, keep=Keep())
    assert "is not a backup file" in wrong
    assert not VerifiedBackup.objects.exists()
    assert (tmp_path / f"shop-{ON}.damaged").read_bytes() == b"half a file"
    assert list(nightly(tmp_path, on=ON, keep=Keep())) == []
    assert VerifiedBackup.objects.count() == 1


@pytest.mark.django_db
def test_stock_that_does_not_add_up_is_named():
    part = make.part(number="J-5", on_hand=3)
    count(part, counted=2, stamp=make.stamp())
    assert list(problems()) == []
    with connection.cursor() as cursor:
        cursor.execute("UPDATE repairs_part SET on_hand = 4")
    assert list(problems()) == [
        "Part J-5: 4 in stock, but its movements add up to 2 and its deliveries hold 2."
    ]


@pytest.mark.django_db(transaction=True)
def test_the_command_fails_loudly(tmp_path, settings):
    settings.BACKUP_DIR = tmp_path
    out = StringIO()
    call_command("nightly", stdout=out)
    assert "Nothing is wrong" in out.getvalue()
    make.part(number="J-5", on_hand=3)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE repairs_part SET on_hand = 4")
    with pytest.raises(CommandError, match="Part J-5: 4 in stock"):
        call_command("nightly", stdout=out)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("age", "sentence"),
    [
        (None, "has never been backed up"),
        (timedelta(hours=47), "Last verified backup"),
        (timedelta(hours=49), "Check why"),
    ],
)
def test_today_tells_the_owner_how_old_the_last_backup_is(client, age, sentence):
    if age is not None:
        now = timezone.now()
        VerifiedBackup.objects.create(
            file="shop.zip", taken_at=now - age, verified_at=now, rows=1, size=1
        )
    client.force_login(make.user(Role.OWNER))
    assert sentence in client.get(reverse("today")).content.decode()
    client.force_login(make.user(Role.BENCH))
    assert "backup" not in client.get(reverse("today")).content.decode()
