"""Check the file of an SQLite database before the shop is served."""

from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import connection

from shopdesk.keeping import commands
from shopdesk.keeping.integrity import check_file


class Command(BaseCommand):
    help = "Check that the file of the SQLite database is not damaged."
    requires_system_checks = []

    def handle(self, **options):
        if connection.vendor == "sqlite":
            file = Path(connection.settings_dict["NAME"])
            with commands.refusals_as_errors():
                check_file(file, backups=settings.BACKUP_DIR)
