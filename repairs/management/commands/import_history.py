"""Past jobs from a CSV file."""

import sys
from datetime import timedelta
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.db import IntegrityError
from django.utils import timezone
from tqdm import tqdm

from repairs.history.actions import bring_in
from repairs.history.columns import COLUMNS, REQUIRED
from repairs.history.reading import read_rows
from repairs.history.rows import Bounds, read_row
from repairs.history.wrongs import Unreadable, Wrongs
from shopdesk.shop.models import Shop

TOLD = 50
FEW = 5
WRONG_FILE = 1
WRONG_USE = 2


class Command(BaseCommand):
    help = (
        "Brings past jobs from a CSV file into the books: all of them or, where"
        " anything is wrong, none. One row a repair; a second run of the same file"
        f" changes nothing. Columns, in any order: {', '.join(COLUMNS)}. Needed are"
        f" {', '.join(REQUIRED)}. Ends with 0 where all is well, 1 where the file is"
        " wrong, 2 where it can't be opened."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, metavar="FILE.csv")
        parser.add_argument(
            "--check", action="store_true", help="read and check all, write nothing"
        )

    def handle(self, *, file, check, verbosity=1, **options):
        wrongs = Wrongs()
        try:
            rows, seen = self._read(file, wrongs, quiet=verbosity == 0)
        except OSError as error:
            why = f"{file} can't be opened: {error.strerror}."
            raise CommandError(why, returncode=WRONG_USE) from None
        except Unreadable as error:
            for wrong in wrongs.first(TOLD):
                self.stderr.write(str(wrong))
            raise CommandError(
                f"{error} Nothing was written.", returncode=WRONG_FILE
            ) from None
        jobs = len({row.job for row in rows})
        with self._bar(jobs, "writing", quiet=verbosity == 0) as bar:
            try:
                brought = bring_in(
                    rows,
                    wrongs=wrongs,
                    seen=seen,
                    is_check=check,
                    progress=bar.update,
                )
            except IntegrityError:
                why = "Someone changed the books meanwhile: run this again."
                raise CommandError(why, returncode=WRONG_FILE) from None
        if wrongs:
            self._tell_wrongs(wrongs)
        if verbosity:
            self._tell(brought, rows=len(rows), check=check)

    def _read(self, file, wrongs, *, quiet):
        with file.open("rb"):
            pass  # a file that is not there is told before a database that is not
        if not Shop.has_books():
            why = "There are no books yet: run `manage.py migrate` first."
            raise CommandError(why, returncode=WRONG_USE)
        shop = Shop.current()
        bounds = Bounds(
            latest=timezone.localdate() + timedelta(days=1),
            places=shop.places,
            country=shop.country,
        )
        rows, seen = [], set()
        with self._bar(None, "reading", quiet=quiet) as bar:
            for line, cells in read_rows(file, wrongs=wrongs):
                seen.add(cells["job"].strip())
                row = read_row(line, cells, bounds=bounds, wrongs=wrongs)
                if row is not None:
                    rows.append(row)
                bar.update()
        return rows, seen

    @staticmethod
    def _bar(total, what, *, quiet):
        """A progress bar; none where nobody watches a terminal."""
        return tqdm(
            total=total,
            desc=what,
            unit=" rows" if total is None else " jobs",
            leave=False,
            file=sys.stderr,
            disable=True if quiet else None,
        )

    def _tell_wrongs(self, wrongs):
        for wrong in wrongs.first(TOLD):
            self.stderr.write(str(wrong))
        if wrongs.count > TOLD:
            self.stderr.write(f"… and {wrongs.count - TOLD:,} more.")
        raise CommandError(
            f"{wrongs.count:,} wrong in the file. Nothing was written.",
            returncode=WRONG_FILE,
        )

    def _tell(self, brought, *, rows, check):
        made = ", ".join(f"{count:,} {what}" for what, count in brought.made.items())
        if check:
            self.stdout.write(f"{rows:,} rows are right. Nothing was written.")
        elif made:
            self.stdout.write(f"{rows:,} rows brought in: {made}.")
        elif rows:
            self.stdout.write("Nothing new: nothing was changed.")
        else:
            self.stdout.write("Nothing new: there is no row below the header.")
        if brought.known:
            self.stdout.write(f"{brought.known:,} jobs were known already.")
        if brought.beside:
            self.stdout.write(
                f"{len(brought.beside):,} cells differ from the customer, device, fault"
                " or fix they belong to; they are kept with the job, beside the record:"
            )
            for line, column, text in brought.beside[:FEW]:
                self.stdout.write(f"  line {line}, {column}: {text}")
            if len(brought.beside) > FEW:
                self.stdout.write(f"  … and {len(brought.beside) - FEW:,} more.")
