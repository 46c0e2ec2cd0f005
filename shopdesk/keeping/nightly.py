"""What runs every night: a verified backup, fewer old ones, and checks."""

import re
import shutil
import time
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

from django.core import checks
from django.db import connection
from django.utils import timezone

from billing.personal_data.deadlines import apply_deadlines
from billing.personal_data.erasing import erase_again
from repairs.sheet_import.models import SheetDraft
from repairs.stock.models import Part
from shopdesk.keeping import migrating
from shopdesk.keeping.archive import PART, ArchiveError, row_count
from shopdesk.keeping.backup import backup, verify
from shopdesk.keeping.models import VerifiedBackup
from shopdesk.keeping.retention import Keep, kept
from shopdesk.lookup import renew_search_indexes
from shopdesk.recording import chain
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.sent_forms.models import SentForm
from shopdesk.stamp import Stamp

TRAIL = "trail.txt"
"""Where the last entry of the trail is noted, outside the database."""
UNFINISHED_SECONDS = 24 * 3600
NAME = re.compile(r"shop-(\d{4}-\d\d-\d\d)\.zip")


def nightly(folder: Path, *, on: date, keep: Keep) -> Iterator[str]:
    """Do the night's work; yield a sentence for each thing that is wrong.

    Run twice on a day, it verifies that day's backup again and takes no second one,
    unless the first is damaged.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    _remove_unfinished(folder)
    yield from _back_up(folder, on=on)
    files = backups(folder)
    for day in files.keys() - kept(files, keep=keep):
        files[day].unlink()
    SentForm.objects.forget_old(at=timezone.now())
    SheetDraft.objects.forget_old(at=timezone.now())
    # Should a restore have been cut short before it came to this.
    erase_again(stamp=Stamp.now())
    apply_deadlines(stamp=Stamp.now())
    renew_search_indexes()
    yield from problems()
    yield from _check_trail(folder / TRAIL)


def _remove_unfinished(folder: Path) -> None:
    """Delete what backups that were killed more than a day ago left behind."""
    for path in folder.glob(f"*{PART}"):
        if time.time() - path.stat().st_mtime > UNFINISHED_SECONDS:
            shutil.rmtree(path) if path.is_dir() else path.unlink()


def backups(folder: Path) -> dict[date, Path]:
    """Return the nightly backups in the folder, by day."""
    found = ((NAME.fullmatch(file.name), file) for file in folder.iterdir())
    return {date.fromisoformat(match[1]): file for match, file in found if match}


def _back_up(folder: Path, *, on: date) -> Iterator[str]:
    file = folder / f"shop-{on}.zip"
    try:
        if not file.exists():
            backup(file)
            record_event(Action.BACKED_UP, file=file.name)
        manifest = verify(file)
    except ArchiveError as error:
        yield str(error)
        if file.exists():
            file.rename(file.with_suffix(".damaged"))
        return
    VerifiedBackup.objects.update_or_create(
        file=file.name,
        taken_at=datetime.fromisoformat(manifest["made_at"]),
        defaults={
            "verified_at": timezone.now(),
            "rows": row_count(manifest),
            "size": file.stat().st_size,
        },
    )


def _check_trail(noted: Path) -> Iterator[str]:
    """Verify the trail, and that the last entry of the night before is still there."""
    chain.seal()
    before = noted.read_text().strip() if noted.exists() else ""
    position, _, last = before.partition(":")
    found = chain.verify(noted=(int(position), last) if last else None)
    if found.wrong:
        yield found.wrong
    if found.count:
        noted.write_text(f"{found.count}:{found.hash}\n")


def problems() -> Iterator[str]:
    """Yield what is wrong with the database: its file, its tables, and sums in it."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA integrity_check(20)")
            for (sentence,) in cursor.fetchall():
                if sentence != "ok":
                    yield f"The database file is damaged: {sentence}"
    for message in checks.run_checks(
        tags=[checks.Tags.database], databases=[connection.alias]
    ):
        if not message.is_silenced():
            yield message.msg
    if not migrating.has_guards(connection.alias):
        yield (
            "The database lacks guards that protect its records from changes. Run:"
            " manage.py migrate"
        )
    for part in Part.objects.with_wrong_stock():
        yield (
            f"Part {part.number}: {part.on_hand} in stock, but its movements add up to"
            f" {part.moved} and its deliveries hold {part.remaining}."
        )
