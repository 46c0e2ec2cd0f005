"""The comeback report for people, spreadsheets and programs."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from repairs.comebacks.forms import ScopeForm
from repairs.comebacks.output import FORMATS
from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import NOT_ABOUT_PEOPLE, Scope
from repairs.month.papers import render_report_pdf
from shopdesk.errors import PdfError
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.shop.models import Shop
from shopdesk.shop.time_zone import use_shop_time_zone


class Command(BaseCommand):
    help = (
        "Which faults come back after which fix: one row per pair, most important "
        "first. Exit codes: 0 report made, 1 file not written, 2 invalid options."
    )

    def add_arguments(self, parser: CommandParser):
        parser.add_argument(
            "--as-of", metavar="DAY", help="report date, 2026-03-31 (default: today)"
        )
        parser.add_argument(
            "--within",
            metavar="DAYS",
            help="comeback period in days (default: shop setting)",
        )
        parser.add_argument(
            "--kind", metavar="KIND", help="device kind, such as laptop"
        )
        parser.add_argument("--maker", metavar="MAKER", help="maker of the device")
        parser.add_argument("--model", metavar="MODEL", help="model of the device")
        parser.add_argument(
            "--by",
            metavar="NAME",
            help=f"sign-in name of who repaired. {NOT_ABOUT_PEOPLE}",
        )
        parser.add_argument(
            "--format",
            choices=list(FORMATS),
            default="table",
            help="output format: table, csv or json",
        )
        parser.add_argument(
            "--pdf", metavar="FILE", type=Path, help="also write the report as PDF"
        )

    def handle(self, *args, format, pdf, **options):
        use_shop_time_zone()
        shop = Shop.current()
        scope = self._scope(options, shop)
        report = comeback_report(scope, shop=shop)
        if pdf:
            self._write_pdf(pdf, scope, shop)
        if scope.is_filtered and format != "table":
            # Not printed with the rows, where a program would not expect it.
            self.stderr.write("\n".join(scope.notices))
        if pdf or format != "table":
            record_event(
                Action.DOWNLOADED, file=pdf.name if pdf else f"comebacks.{format}"
            )
        self.stdout.write(FORMATS[format](report), ending="")

    def _scope(self, options: dict, shop: Shop) -> Scope:
        """Return the scope, validated by the form of the page, so that both refuse the
        same.
        """
        given = {name: options[name] for name in ScopeForm.base_fields}
        form = ScopeForm(
            {name: str(value) for name, value in given.items() if value is not None},
            today=timezone.localdate(),
            within=shop.comeback_period_days,
        )
        if not form.is_valid():
            problems = (
                f"--{name.replace('_', '-')} {form.data[name]}: {text}"
                for name, errors in form.errors.items()
                for text in errors
            )
            raise CommandError("\n".join(problems), returncode=2)
        return form.scope

    def _write_pdf(self, file: Path, scope: Scope, shop: Shop) -> None:
        try:
            file.write_bytes(render_report_pdf(scope, shop=shop))
        except OSError as error:
            raise CommandError(
                f"The report could not be written to {file}: {error.strerror}."
            ) from error
        except PdfError as error:
            raise CommandError(str(error)) from error
