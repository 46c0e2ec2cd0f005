"""The monthly comeback table, for people, sheets and programs."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from repairs.comebacks.asked import SAYS_LITTLE, Asked
from repairs.comebacks.context import record_of
from repairs.comebacks.forms import AskForm
from repairs.comebacks.papers import report_pdf
from repairs.comebacks.written import FORMATS
from shopdesk.papers.render import PaperFailed
from shopdesk.shop.models import Shop


class Command(BaseCommand):
    help = (
        "Which faults come back after which fix: one row a pair, what matters first. "
        "Ends with 0 when the table was made, 1 when a file could not be written, "
        "2 when what was asked makes no sense."
    )

    def add_arguments(self, parser: CommandParser):
        parser.add_argument(
            "--as-of",
            metavar="DAY",
            help="count what was known on this day (2026-03-31); today if not given",
        )
        parser.add_argument(
            "--within",
            metavar="DAYS",
            help="a comeback counts within so many days; the shop's own if not given",
        )
        parser.add_argument(
            "--kind", metavar="KIND", help="count only devices of this kind: laptop"
        )
        parser.add_argument(
            "--maker", metavar="MAKER", help="count only devices of this maker"
        )
        parser.add_argument(
            "--model", metavar="MODEL", help="count only devices of this model"
        )
        parser.add_argument(
            "--by",
            metavar="NAME",
            help=f"count only repairs done by who signs in as NAME. {SAYS_LITTLE}",
        )
        parser.add_argument(
            "--format",
            choices=list(FORMATS),
            default="table",
            help="table to read, csv for a sheet, json for a program",
        )
        parser.add_argument(
            "--pdf", metavar="FILE", type=Path, help="write the report there as well"
        )

    def handle(self, *args, format, pdf, **options):
        shop = Shop.current()
        asked = self._asked(options, shop)
        record = record_of(asked, shop=shop)
        if pdf:
            self._write(pdf, asked, shop)
        if asked.is_narrowed and format != "table":
            # Not among the rows, where a program would stumble over it.
            self.stderr.write("\n".join(asked.sentences))
        self.stdout.write(FORMATS[format](record), ending="")

    def _asked(self, options: dict, shop: Shop) -> Asked:
        """The same form as the page's, so that both refuse the same."""
        given = {name: options[name] for name in AskForm.base_fields}
        form = AskForm(
            {name: str(value) for name, value in given.items() if value is not None},
            today=timezone.localdate(),
            within=shop.comeback_period_days,
        )
        if not form.is_valid():
            wrong = (
                f"--{name.replace('_', '-')} {form.data[name]}: {text}"
                for name, errors in form.errors.items()
                for text in errors
            )
            raise CommandError("\n".join(wrong), returncode=2)
        return form.asked

    def _write(self, file: Path, asked: Asked, shop: Shop) -> None:
        try:
            file.write_bytes(report_pdf(asked, shop=shop))
        except OSError as error:
            raise CommandError(
                f"The report could not be written to {file}: {error.strerror}."
            ) from error
        except PaperFailed as error:
            raise CommandError(str(error)) from error
