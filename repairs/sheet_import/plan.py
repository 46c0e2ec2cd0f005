"""What an import would do: the rows as they are read, and what is asked or remarked."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

from repairs.faults.models import Fault, Fix
from repairs.history.actions import import_jobs
from repairs.history.cells import Bounds
from repairs.history.existing import batches
from repairs.history.issues import ImportIssues
from repairs.jobs.models import Job
from repairs.sheet_import.conversion import convert
from repairs.sheet_import.decisions import Decisions
from repairs.sheet_import.earlier_jobs import PastVisit, visit_keys
from repairs.sheet_import.models import SheetLayout
from repairs.sheet_import.questions import notation_of, outcome_words, texts_of
from repairs.sheet_import.remarks import Conversion
from repairs.sheet_import.sheet_columns import SheetColumns, split_header, suggest
from repairs.sheet_import.sheet_file import SheetTable
from repairs.sheet_import.text_groups import group_texts
from repairs.sheet_import.written_values import NO, plain
from shopdesk.shop.models import Shop

MAX_CHECKS = 5
"""Leaving out a row may make another one impossible, such as a return of it."""


def bounds_of(shop: Shop, *, on: date) -> Bounds:
    """Return the limits of the values of past jobs."""
    return Bounds(
        latest=on + timedelta(days=1), places=shop.places, country=shop.phone_country
    )


def first_decisions(table: SheetTable, decisions: Decisions) -> Decisions:
    """Return the decisions with what is known of such a list, or suggested.

    What was decided already stays.
    """
    columns = split_header(table, header_line=decisions.header_line)
    facts = {
        "sheet": table.sheet,
        "encoding": table.encoding,
        "separator": table.separator,
        "header_line": columns.header_line,
    }
    if decisions.columns:
        return decisions.changed(**facts)
    layout = SheetLayout.objects.filter(signature=columns.signature).first()
    if layout is not None:
        return layout.decisions.changed(**facts)
    found = suggest(columns)
    names = {header: found.get(header, "") for header in columns.names}
    return decisions.changed(columns=names, **facts)


@dataclass
class SheetPlan:
    """A list with its decisions, as it would be imported."""

    table: SheetTable
    decisions: Decisions
    shop: Shop
    on: date
    file: str = ""

    @cached_property
    def columns(self) -> SheetColumns:
        return split_header(self.table, header_line=self.decisions.header_line)

    @cached_property
    def bounds(self) -> Bounds:
        return bounds_of(self.shop, on=self.on)

    @cached_property
    def grouped(self) -> Decisions:
        """The decisions with all texts of faults and fixes in groups."""
        return self.decisions.changed(
            **{
                of: group_texts(
                    texts_of(self.columns, self.decisions, column),
                    entries=dict(
                        model.objects.filter(is_retired=False).values_list(
                            "code", "name"
                        )
                    ),
                    decided=getattr(self.decisions, of),
                )
                for of, column, model in (
                    ("faults", "fault", Fault),
                    ("fixes", "fix", Fix),
                )
            }
        )

    @property
    def settled(self) -> Decisions:
        """The decisions with what was detected, and with words that are not known."""
        if self.conversion.questions_about("columns"):
            return self.decisions
        days, amounts, unit = notation_of(self.columns, self.decisions, self.bounds)
        words = outcome_words(self.columns, self.decisions)
        unknown = {word: "" for word, outcome in words.items() if not outcome}
        return self.grouped.changed(
            date_order=days.order,
            decimal=amounts.decimal,
            minutes_unit=unit,
            outcomes=unknown | self.decisions.outcomes,
        )

    @cached_property
    def conversion(self) -> Conversion:
        """The rows that can be imported; each of the others has a remark."""
        fixes = Fix.objects.values_list("code", "fix_type")
        found = convert(
            self.columns,
            self.grouped,
            bounds=self.bounds,
            fix_types=dict(fixes),
            on_record=_on_record,
            visits=_past_visits(self.columns, self.decisions),
            file=self.file,
        )
        _leave_out_refused(found)
        found.remarks.sort()
        return found


def _on_record(numbers: Iterable[str]) -> set[str]:
    jobs = batches(Job.objects.only("number"), "number", numbers)
    return {job.number for job in jobs}


def _past_visits(columns: SheetColumns, decisions: Decisions) -> list[PastVisit]:
    """Return the jobs on record, if a row may be a return of one."""
    header = decisions.headers.get("back_again")
    if header not in columns.names and not decisions.earlier:
        return []
    if header in columns.names:
        words = {plain(cell) for cell in columns.frame[header].unique()}
        if not (words - NO - {""}) and not decisions.earlier:
            return []
    jobs = Job.objects.exclude(handed_over_on=None).values_list(
        "number",
        "booked_in_on",
        "handed_over_on",
        "customer__name",
        "device__model__maker",
        "device__model__model",
        "device__serial",
    )
    return [
        PastVisit(
            number,
            visit_keys(customer=customer, maker=maker, model=model, serial=serial),
            booked_in,
            handed_over,
        )
        for number, booked_in, handed_over, customer, maker, model, serial in (
            jobs.order_by("pk")
        )
    ]


def _leave_out_refused(found: Conversion) -> None:
    """Ask the history import about the rows; leave out links and rows it refuses."""
    for _ in range(MAX_CHECKS):
        issues = ImportIssues()
        import_jobs(found.rows, issues=issues, is_check=True)
        if not issues:
            return
        refused: dict[int, str] = {}
        unlinked = set()
        for issue in issues.first(issues.count):
            if issue.column == "returned_from":
                unlinked.add(issue.line)
                found.remark(issue.line, "back_again", issue.text)
            else:
                refused.setdefault(issue.line, f"{issue.column}: {issue.text}")
        for line, text in refused.items():
            found.remark(line, "", text, is_left_out=True)
        found.rows = [
            replace(row, returned_from="", return_is="")
            if row.line in unlinked
            else row
            for row in found.rows
            if row.line not in refused
        ]
