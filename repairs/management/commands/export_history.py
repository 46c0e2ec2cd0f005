"""Export past jobs to a CSV file."""

from datetime import timedelta
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from repairs.history.cells import Bounds
from repairs.history.past_jobs_file import write_past_jobs
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.shop.models import Shop
from shopdesk.shop.time_zone import use_shop_time_zone

MAX_LEFT_OUT = 50
WRONG_USE = 2


class Command(BaseCommand):
    help = (
        "Export all jobs that were handed over to a CSV file in the format of"
        " import_history; importing it again changes nothing. The file holds personal"
        " data. Exit codes: 0 success, 2 the file cannot be written."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, metavar="FILE.csv")

    def handle(self, *, file, **options):
        use_shop_time_zone()
        shop = Shop.current()
        bounds = Bounds(
            latest=timezone.localdate() + timedelta(days=1),
            places=shop.places,
            country=shop.country,
        )
        try:
            with file.open("x", encoding="utf-8", newline="") as out:
                result = self._write(out, bounds)
        except OSError as error:
            text = f"{file} cannot be written: {error.strerror}."
            raise CommandError(text, returncode=WRONG_USE) from None
        record_event(Action.DOWNLOADED, file=file.name)
        self.stdout.write(f"{result.jobs:,} jobs exported to {file}.")
        if result.left_out:
            count = len(result.left_out)
            self.stdout.write(f"{count:,} left out, as the format cannot hold them:")
            for number, problem in list(result.left_out.items())[:MAX_LEFT_OUT]:
                self.stdout.write(f"  {number}: {problem}")
            if count > MAX_LEFT_OUT:
                self.stdout.write(f"  … and {count - MAX_LEFT_OUT:,} more.")

    def _write(self, out, bounds):
        try:
            return write_past_jobs(out, bounds=bounds)
        except BaseException:
            Path(out.name).unlink()  # half a file would be taken for the whole
            raise
