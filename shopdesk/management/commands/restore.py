"""Fill an empty database from a backup file."""

from argparse import FileType
from pathlib import Path

from django.core.management.base import BaseCommand

from billing.personal_data.erasing import erase_again
from shopdesk.keeping import commands
from shopdesk.keeping.restore import restore, restore_keys
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.stamp import Stamp


class Command(BaseCommand):
    help = (
        "Fill an empty database, SQLite or PostgreSQL, with the records of a backup"
        " file."
    )
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--keys", action="store_true", help="restore the secret keys, too"
        )
        parser.add_argument(
            "--passphrase-file",
            type=FileType(),
            help="read the passphrase from the first line of this file",
        )

    def handle(self, *, file, keys, passphrase_file, **options):
        with commands.refusals_as_errors():
            with commands.progress_bar("Restoring") as bar:
                restore(file, **bar)
            record_event(Action.RESTORED, file=file.name)
            self.stdout.write(f"Restored from {file}.")
            if count := erase_again(stamp=Stamp.now()):
                self.stdout.write(f"Erased again: {count} customers.")
            if keys:
                passphrase = commands.read_passphrase(passphrase_file, is_new=False)
                for path in restore_keys(file, passphrase=passphrase):
                    self.stdout.write(f"Wrote {path}.")
