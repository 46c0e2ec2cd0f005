from getpass import getpass

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role, User


class Command(BaseCommand):
    help = (
        "Add an owner, who can then sign in and add other staff. Asks for a password"
        " twice. Exit status: 0 owner added, 1 refused, 2 wrong usage."
    )

    def add_arguments(self, parser):
        parser.add_argument("username", metavar="NAME", help="sign-in name")
        parser.add_argument("--called", default="", help="name shown to others")

    def handle(self, *args, username, called, **options):
        username = username.strip().lower()
        user = User(username=username, name=called or username, role=Role.OWNER)
        try:
            user.full_clean(exclude=["password"])
            password = self.ask()
            validate_password(password, user)
        except ValidationError as wrong:
            raise CommandError(" ".join(wrong.messages)) from None
        user.set_password(password)
        user.save()
        Shop.objects.get_or_create(pk=1)
        self.stdout.write(f"{user} can sign in as {username}.")

    def ask(self):
        """Return the password, typed twice without echo."""
        try:
            password = getpass("Password (at least 15 characters): ")
            if getpass("Repeat password: ") != password:
                raise CommandError("The passwords do not match. No owner was added.")
        except (EOFError, KeyboardInterrupt):
            raise CommandError("No owner was added.") from None
        return password
