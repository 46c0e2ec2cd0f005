from getpass import getpass

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from shopdesk.staff.models import Kind, User


class Command(BaseCommand):
    help = (
        "Adds an owner, who may then sign in and add the others. Asks for a password"
        " twice. Ends with 0 when the owner is added, 1 when refused, 2 when called"
        " wrongly."
    )

    def add_arguments(self, parser):
        parser.add_argument("username", metavar="NAME", help="what they sign in with")
        parser.add_argument("--called", default="", help="their name, as others see it")

    def handle(self, *args, username, called, **options):
        username = username.strip().lower()
        user = User(username=username, name=called or username, kind=Kind.OWNER)
        try:
            user.full_clean(exclude=["password"])
            password = self.ask()
            validate_password(password, user)
        except ValidationError as wrong:
            raise CommandError(" ".join(wrong.messages)) from None
        user.set_password(password)
        user.save()
        self.stdout.write(f"{user} may sign in as {username}.")

    def ask(self):
        """The password, typed twice, seen by nobody."""
        try:
            password = getpass("Password (at least 15 characters): ")
            if getpass("The same once more: ") != password:
                raise CommandError("The two are not the same. Nobody was added.")
        except (EOFError, KeyboardInterrupt):
            raise CommandError("Nobody was added.") from None
        return password
