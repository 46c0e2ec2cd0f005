"""Turn the rows of a shop's own list into rows of the history import.

Every row becomes a row of the import, or is listed with the reason why not.
"""

from collections.abc import Callable, Iterable, Mapping

from repairs.history.cells import Bounds
from repairs.sheet_import.decisions import Decisions
from repairs.sheet_import.earlier_jobs import PastVisit, with_returns
from repairs.sheet_import.questions import questions
from repairs.sheet_import.remarks import Conversion
from repairs.sheet_import.row_reader import RowReader
from repairs.sheet_import.sheet_columns import SheetColumns


def convert(
    columns: SheetColumns,
    decisions: Decisions,
    *,
    bounds: Bounds,
    fix_types: Mapping[str, str],
    on_record: Callable[[Iterable[str]], set[str]] = lambda numbers: set(),
    visits: Iterable[PastVisit] = (),
    file: str = "",
) -> Conversion:
    """Return the rows to import, and a remark on each value or row that is not.

    `fix_types` are the usual types of the fault book's fixes; `on_record` returns which
    of some job numbers are on record; `visits` are past jobs on record.
    """
    result = Conversion(total=len(columns.frame))
    result.questions = questions(columns, decisions)
    if result.questions_about("columns"):
        return result
    reader = RowReader(columns, decisions, bounds, fix_types, result, file)
    found = reader.rows()
    known = on_record({row.job for row in found})
    result.already = [row.line for row in found if row.job in known]
    rows = [row for row in found if row.job not in known]
    result.rows = with_returns(rows, reader, visits)
    result.remarks.sort()
    return result
