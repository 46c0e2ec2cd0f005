"""Back up the whole shop into one file."""

from argparse import FileType
from pathlib import Path

from django.core.management.base import BaseCommand

from shopdesk.keeping import commands
from shopdesk.keeping.archive import row_count
from shopdesk.keeping.backup import backup, verify
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event


class Command(BaseCommand):
    help = "Back up all records and stored documents into one new file, and verify it."

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, help="the new file, such as shop.zip")
        parser.add_argument(
            "--keys",
            action="store_true",
            help="include the secret keys, encrypted with a passphrase",
        )
        parser.add_argument(
            "--passphrase-file",
            type=FileType(),
            help="read the passphrase from the first line of this file",
        )

    def handle(self, *, file, keys, passphrase_file, **options):
        passphrase = ""
        if keys:
            passphrase = commands.read_passphrase(passphrase_file, is_new=True)
        with commands.refusals_as_errors():
            with commands.progress_bar("Backing up") as bar:
                backup(file, passphrase=passphrase, **bar)
            with commands.progress_bar("Verifying") as bar:
                manifest = verify(file, **bar)
        rows = row_count(manifest)
        record_event(Action.BACKED_UP, file=file.name, rows=rows, keys=keys)
        self.stdout.write(f"{file}: {rows:,} rows, verified.")
        if not keys:
            self.stdout.write(
                "It holds no keys. Without the file seal.key, stored access codes"
                " cannot be read after a restore."
            )
