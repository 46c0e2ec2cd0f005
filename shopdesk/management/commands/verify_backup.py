"""Check that a backup file is complete and as it was written."""

from pathlib import Path

from django.core.management.base import BaseCommand

from shopdesk.keeping import commands
from shopdesk.keeping.archive import row_count
from shopdesk.keeping.backup import verify


class Command(BaseCommand):
    help = "Check that a backup file is complete and was not changed."
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path)

    def handle(self, *, file, **options):
        with commands.refusals_as_errors(), commands.progress_bar("Verifying") as bar:
            manifest = verify(file, **bar)
        rows = row_count(manifest)
        self.stdout.write(
            f"{file} is complete: {rows:,} rows, backed up {manifest['made_at']} by"
            f" version {manifest['version']}."
        )
