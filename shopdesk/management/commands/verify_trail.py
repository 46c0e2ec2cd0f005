"""Check that nobody changed the trail behind the program's back."""

from django.core.management.base import BaseCommand, CommandError

from shopdesk.recording.chain import verify


class Command(BaseCommand):
    help = (
        "Compute the hash chain of the trail again and name the first entry that was"
        " changed, removed or moved. Exit status: 0 nothing is wrong, 1 something is."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--noted",
            metavar="POSITION:HASH",
            help="an earlier last entry, noted elsewhere: it must still be there",
        )

    def handle(self, *, noted, **options):
        found = verify(noted=_read(noted) if noted else None)
        if found.wrong:
            raise CommandError(found.wrong)
        self.stdout.write(f"{_count(found.count)} in the chain. Nothing is wrong.")
        if found.unsealed:
            verb = "is" if found.unsealed == 1 else "are"
            self.stdout.write(f"{_count(found.unsealed)} {verb} not sealed yet.")
        if found.count:
            self.stdout.write(f"Last entry: {found.count}:{found.hash}")


def _read(noted: str) -> tuple[int, str]:
    position, _, text = noted.partition(":")
    if not position.isdecimal():
        raise CommandError("--noted must be POSITION:HASH, as this command prints it.")
    return int(position), text


def _count(n: int) -> str:
    return f"{n:,} {'entry' if n == 1 else 'entries'}"
