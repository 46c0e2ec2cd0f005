"""Import past jobs from a CSV file."""

import sys
from datetime import timedelta
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.db import IntegrityError
from django.utils import timezone
from tqdm import tqdm

from repairs.history.actions import import_jobs
from repairs.history.cells import Bounds
from repairs.history.issues import ImportIssues, UnreadableFileError
from repairs.history.reading import read_rows
from repairs.history.rows import COLUMNS, REQUIRED, read_row
from shopdesk.shop.models import Shop
from shopdesk.shop.time_zone import use_shop_time_zone

MAX_ISSUES = 50
MAX_UNMATCHED = 5
WRONG_FILE = 1
WRONG_USE = 2


class Command(BaseCommand):
    help = (
        "Import past jobs from a CSV file: all of them or, if anything is wrong, none."
        " One row is one repair; importing the same file again changes nothing."
        f" Columns, in any order: {', '.join(COLUMNS)}."
        f" Required: {', '.join(REQUIRED)}."
        " Exit codes: 0 success, 1 errors in the file, 2 the file cannot be opened."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, metavar="FILE.csv")
        parser.add_argument(
            "--check", action="store_true", help="validate the file without importing"
        )

    def handle(self, *, file, check, verbosity=1, **options):
        use_shop_time_zone()
        self.quiet = not verbosity
        issues = ImportIssues()
        try:
            rows, numbers = self._read(file, issues)
        except OSError as error:
            text = f"{file} cannot be opened: {error.strerror}."
            raise CommandError(text, returncode=WRONG_USE) from None
        except UnreadableFileError as error:
            self._refuse(issues, f"{error} Nothing was imported.")
        with self._bar(len({row.job for row in rows}), "saving", " jobs") as bar:
            try:
                result = import_jobs(
                    rows,
                    issues=issues,
                    numbers=numbers,
                    is_check=check,
                    file=file.name,
                    progress=bar.update,
                )
            except IntegrityError:
                text = "Records changed during the import. Run it again."
                raise CommandError(text, returncode=WRONG_FILE) from None
        if issues:
            count = _count(issues.count, "error", "errors")
            self._refuse(issues, f"{count}. Nothing was imported.")
        if not self.quiet:
            self._report(result, rows=len(rows), check=check)

    def _read(self, file, issues):
        with file.open("rb"):
            pass  # a missing file is reported before a missing database
        if not Shop.has_records():
            text = "The database is not set up. Run `manage.py migrate` first."
            raise CommandError(text, returncode=WRONG_USE)
        shop = Shop.current()
        bounds = Bounds(
            latest=timezone.localdate() + timedelta(days=1),
            places=shop.places,
            country=shop.phone_country,
        )
        rows, numbers = [], set()
        with self._bar(None, "reading", " rows") as bar:
            for line, cells in read_rows(file, issues=issues):
                numbers.add(cells["job"].strip())
                row = read_row(line, cells, bounds=bounds, issues=issues)
                if row is not None:
                    rows.append(row)
                bar.update()
        return rows, numbers

    def _bar(self, total, what, unit):
        """Return a progress bar; it shows only on a terminal."""
        return tqdm(
            total=total,
            desc=what,
            unit=unit,
            leave=False,
            file=sys.stderr,
            disable=True if self.quiet else None,
        )

    def _refuse(self, issues, text):
        for issue in issues.first(MAX_ISSUES):
            self.stderr.write(str(issue))
        if issues.count > MAX_ISSUES:
            self.stderr.write(f"… and {issues.count - MAX_ISSUES:,} more.")
        raise CommandError(text, returncode=WRONG_FILE)

    def _report(self, result, *, rows, check):
        if check:
            checked = _count(rows, "row", "rows")
            text = f"{checked} checked, no errors. Nothing was imported."
        elif result.created:
            created = ", ".join(
                _count(n, kind._meta.verbose_name, kind._meta.verbose_name_plural)
                for kind, n in result.created.items()
            )
            text = f"{_count(rows, 'row', 'rows')} imported: {created}."
        elif rows:
            text = "No new jobs. Nothing was imported."
        else:
            text = "The file has no rows below the header. Nothing was imported."
        self.stdout.write(text)
        if result.existing:
            self.stdout.write(
                f"{_count(result.existing, 'job', 'jobs')} existed already."
            )
        if result.unmatched:
            cells = _count(len(result.unmatched), "cell differs", "cells differ")
            self.stdout.write(
                f"{cells} from existing records. The text is kept as a note on the job:"
            )
            for line, column, text in result.unmatched[:MAX_UNMATCHED]:
                self.stdout.write(f"  line {line}, {column}: {text}")
            more = len(result.unmatched) - MAX_UNMATCHED
            if more > 0:
                self.stdout.write(f"  … and {more:,} more.")


def _count(n, one, many):
    return f"{n:,} {one if n == 1 else many}"
