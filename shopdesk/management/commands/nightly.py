"""Back up, verify, delete old backups, and check the database."""

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from shopdesk.keeping.nightly import nightly
from shopdesk.keeping.retention import Keep
from shopdesk.shop.time_zone import use_shop_time_zone


class Command(BaseCommand):
    help = (
        "Back up into BACKUP_DIR, verify the backup, delete those no longer kept, and"
        " check the database. Run it every night; a second run on a day is harmless."
    )
    requires_system_checks = []

    def handle(self, **options):
        use_shop_time_zone()
        keep = Keep(*settings.BACKUP_KEEP)
        wrong = list(nightly(settings.BACKUP_DIR, on=timezone.localdate(), keep=keep))
        if wrong:
            raise CommandError("\n".join(wrong))
        self.stdout.write("Backed up and checked. Nothing is wrong.")
