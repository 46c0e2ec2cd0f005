from django.core.management.base import BaseCommand, CommandError

from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import moment
from shopdesk.staff.actions import reset_owner
from shopdesk.stamp import Stamp


class Command(BaseCommand):
    help = (
        "Give an owner who cannot sign in a one-time passphrase, which is printed once."
        " Ends their sessions and lockouts and removes their second factor. Exit"
        " status: 0 passphrase printed, 1 refused, 2 wrong usage."
    )

    def add_arguments(self, parser):
        parser.add_argument("username", metavar="NAME", help="sign-in name")

    def handle(self, *args, username, **options):
        try:
            owner, passphrase = reset_owner(username, stamp=Stamp.now())
        except RefusedError as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(
            f"Passphrase for {owner.username}: {passphrase}\n"
            f"Valid until {moment(owner.passphrase_until)}. It must be replaced by a"
            " password at the first sign-in."
        )
