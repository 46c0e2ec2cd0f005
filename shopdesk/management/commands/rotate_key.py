"""Change the key of access codes and second factors."""

from django.core.management.base import BaseCommand

from shopdesk.keeping import commands
from shopdesk.keeping.key_rotation import rotate_key


class Command(BaseCommand):
    help = (
        "Write a new seal.key and encrypt all access codes and second factors with it."
        " Shopdesk may run meanwhile. If it is interrupted, run it again. Backups made"
        " before need the old key: keep a copy of it with them."
    )

    def handle(self, **options):
        with commands.refusals_as_errors():
            count = rotate_key()
        self.stdout.write(f"New key written. Encrypted again: {count}.")
