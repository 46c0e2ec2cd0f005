"""Check the database before the shop is served."""

from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, connection

from shopdesk.checks import database_is_durable
from shopdesk.keeping import commands
from shopdesk.keeping.integrity import check_file


class Command(BaseCommand):
    help = (
        "Check that the file of the SQLite database is not damaged, or that PostgreSQL"
        " is set up to keep what it has saved."
    )
    requires_system_checks = []

    def handle(self, **options):
        if connection.vendor == "sqlite":
            file = Path(connection.settings_dict["NAME"])
            with commands.refusals_as_errors():
                check_file(file, backups=settings.BACKUP_DIR)
            return
        try:
            found = database_is_durable([connection.alias])
        except OperationalError as error:
            # The server says so on its pages, and works once the database is back.
            self.stderr.write(f"PostgreSQL cannot be asked yet: {error}")
            return
        for message in found:
            if not message.is_silenced():
                raise CommandError(f"{message.msg}\n{message.hint}")
