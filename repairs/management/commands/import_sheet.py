"""Import a shop's own list of past jobs: CSV, TSV or XLSX."""

import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils.text import capfirst
from tqdm import tqdm

from repairs.sheet_import.actions import import_sheet, named_counts, try_import
from repairs.sheet_import.decisions import DecisionError, Decisions
from repairs.sheet_import.plan import SheetPlan, first_decisions
from repairs.sheet_import.sheet_file import SheetError, read_table
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

MAX_LISTED = 200
MAX_NAMED = 10
UNDECIDED = 1
WRONG_USE = 2


class Command(BaseCommand):
    help = (
        "Import a shop's own list of past jobs (CSV, TSV or XLSX): all rows that can"
        " be read, in one step; rows that cannot are listed with the reason. What is"
        " not clear is asked: save the decisions with --save-map, fill in what is"
        " empty, and run it again with --map. Exit codes: 0 success, 1 something is"
        " undecided or wrong and nothing was imported, 2 the file cannot be opened."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--sheet", default="", help="the sheet of a workbook")
        parser.add_argument(
            "--map", type=Path, metavar="MAP.json", help="decisions from a file"
        )
        parser.add_argument(
            "--save-map",
            type=Path,
            metavar="MAP.json",
            help="write the decisions, with suggestions, to a file",
        )
        parser.add_argument(
            "--check",
            action="store_true",
            help="show what would happen, import nothing",
        )

    def handle(self, *, file, sheet, map, save_map, check, verbosity=1, **options):
        self.quiet = not verbosity
        plan = self._plan(file, sheet=sheet, decisions=self._decisions(map))
        with self._bar(None, "reading rows", ""):
            conversion = plan.conversion
        if save_map:
            self._write(save_map, plan.settled.reusable.to_json())
        if conversion.questions:
            for question in conversion.questions:
                self.stderr.write(f"{question.name}: {question}")
            raise CommandError(
                "Undecided: see above. Nothing was imported. Write the decisions to a"
                " file with --save-map, fill in what is empty, and use --map.",
                returncode=UNDECIDED,
            )
        for remark in conversion.remarks[:MAX_LISTED]:
            self.stdout.write(
                f"{remark} Left out." if remark.is_left_out else str(remark)
            )
        if len(conversion.remarks) > MAX_LISTED:
            more = len(conversion.remarks) - MAX_LISTED
            self.stdout.write(f"… and {more:,} more remarks.")
        if check:
            counts, _ = try_import(plan, stamp=Stamp.now())
            self._report(conversion, counts, "would be imported")
            self.stdout.write("Nothing was imported.")
            return
        if conversion.already and not conversion.rows:
            self._report(conversion, {}, "imported")
            return
        jobs = len({row.job for row in conversion.rows})
        with self._bar(jobs, "saving", " jobs") as bar:
            try:
                past = import_sheet(plan, stamp=Stamp.now(), progress=bar.update)
            except RefusedError as error:
                raise CommandError(str(error), returncode=UNDECIDED) from None
        self._report(conversion, past.counts, "imported")

    def _decisions(self, path):
        if path is None:
            return Decisions()
        try:
            return Decisions.from_json(path.read_text(encoding="utf-8"))
        except OSError as error:
            text = f"{path} cannot be opened: {error.strerror}."
            raise CommandError(text, returncode=WRONG_USE) from None
        except (DecisionError, UnicodeDecodeError) as error:
            text = f"{path} cannot be used: {error}"
            raise CommandError(text, returncode=UNDECIDED) from None

    def _plan(self, path, *, sheet, decisions):
        try:
            with path.open("rb") as file, self._bar(None, "reading the file", ""):
                if not Shop.has_records():
                    text = "The database is not set up. Run `manage.py migrate` first."
                    raise CommandError(text, returncode=WRONG_USE)
                table = read_table(
                    file,
                    sheet=sheet or decisions.sheet,
                    encoding=decisions.encoding,
                    separator=decisions.separator,
                )
            for warning in table.warnings:
                self.stderr.write(warning)
            decisions = first_decisions(table, decisions)
        except OSError as error:
            text = f"{path} cannot be opened: {error.strerror}."
            raise CommandError(text, returncode=WRONG_USE) from None
        except (SheetError, DecisionError) as error:
            text = f"{error} Nothing was imported."
            raise CommandError(text, returncode=UNDECIDED) from None
        stamp = Stamp.now()
        return SheetPlan(
            table, decisions, shop=Shop.current(), on=stamp.on, file=path.name
        )

    def _write(self, path, text):
        try:
            path.write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            text = f"{path} cannot be written: {error.strerror}."
            raise CommandError(text, returncode=WRONG_USE) from None

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

    def _report(self, conversion, counts, done):
        if self.quiet:
            return
        left_out = len({remark.line for remark in conversion.left_out})
        self.stdout.write(
            f"{len(conversion.rows):,} of {conversion.total:,} rows {done},"
            f" {left_out:,} left out."
        )
        if conversion.already:
            lines = ", ".join(map(str, conversion.already[:MAX_NAMED]))
            more = " …" if len(conversion.already) > MAX_NAMED else ""
            self.stdout.write(
                f"{len(conversion.already):,} rows are on record already and stay as"
                f" they are: {lines}{more}"
            )
        for label, count in named_counts(counts) if counts else []:
            self.stdout.write(f"  {capfirst(label)}: {count:,}")
