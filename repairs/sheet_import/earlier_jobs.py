"""Which earlier job did a device come back from?"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from repairs.history.matching import serial_normalized
from repairs.history.rows import ImportRow
from repairs.jobs import states
from repairs.sheet_import.row_reader import RowReader
from repairs.sheet_import.written_values import plain

NOT_LINKED = "Not a return, as you decided."


@dataclass(frozen=True)
class PastVisit:
    """What a return is looked for by: a job of the file or on record."""

    number: str
    keys: frozenset[tuple[str, ...]]
    booked_in: date
    handed_over: date | None


def visit_keys(
    *, customer: str, maker: str, model: str, serial: str
) -> frozenset[tuple[str, ...]]:
    """Return what identifies the device of a visit."""
    number = serial_normalized(serial)
    if number:
        return frozenset({("serial", plain(maker), number)})
    return frozenset({("model", plain(customer), plain(maker), plain(model))})


def _visit(row: ImportRow) -> PastVisit:
    keys = visit_keys(
        customer=row.customer, maker=row.maker, model=row.model, serial=row.serial
    )
    return PastVisit(row.job, keys, row.booked_in, row.handed_back)


def with_returns(
    rows: list[ImportRow], reader: RowReader, on_record: Iterable[PastVisit]
) -> list[ImportRow]:
    """Return the rows, those that say “back again” with their earlier job."""
    decided = {int(line): job for line, job in reader.decisions.earlier.items()}
    if not reader.back and not decided:
        return rows
    of_row = {row.line: _visit(row) for row in rows}
    by_key: dict[tuple[str, ...], list[PastVisit]] = {}
    by_number: dict[str, PastVisit] = {}
    for visit in (*on_record, *of_row.values()):
        by_number[visit.number] = visit
        for key in visit.keys:
            by_key.setdefault(key, []).append(visit)
    links: dict[str, PastVisit] = {}
    for row in rows:
        visit = of_row[row.line]
        if row.line in decided:
            number = decided[row.line]
            if number in by_number:
                links[row.job] = by_number[number]
                continue
            text = f"There is no job {number}." if number else NOT_LINKED
            reader.result.remark(row.line, "back_again", text, proposed=number)
            continue
        if not reader.back.get(row.line):
            continue
        others = [one for key in visit.keys for one in by_key[key]]
        if earlier := _latest_before(visit, others):
            links[row.job] = earlier
        elif later := _next_after(visit, others):
            # Some shops mark the job that came back, others the one that was again.
            links.setdefault(later.number, visit)
        else:
            text = "Says it was back again, but no other job of this device is listed."
            reader.result.remark(row.line, "back_again", text)
    faults: dict[str, set[str]] = {}
    for row in rows:
        if row.fault and not row.needs_coding:
            faults.setdefault(row.job, set()).add(row.fault)
    none: set[str] = set()
    same = {
        job
        for job, earlier in links.items()
        if faults.get(job, none) & faults.get(earlier.number, none)
    }
    return [
        _linked(row, links[row.job], row.job in same, reader)
        if row.job in links
        else row
        for row in rows
    ]


def _latest_before(visit: PastVisit, others: Iterable[PastVisit]) -> PastVisit | None:
    found = [
        one
        for one in others
        if one.number != visit.number
        and one.handed_over
        and one.handed_over <= visit.booked_in
        and one.booked_in < visit.booked_in
    ]
    return max(found, key=lambda one: one.booked_in, default=None)


def _next_after(visit: PastVisit, others: Iterable[PastVisit]) -> PastVisit | None:
    found = [one for one in others if visit == _latest_before(one, [visit])]
    return min(found, key=lambda one: one.booked_in, default=None)


def _linked(
    row: ImportRow, earlier: PastVisit, is_same: bool, reader: RowReader
) -> ImportRow:
    text = f"Back again after job {earlier.number} of {earlier.booked_in}" + (
        ", with the same fault."
        if is_same
        else ". Whether it is the same fault is to be assessed."
    )
    number = earlier.number
    reader.result.remark(row.line, "back_again", text, proposed=number)
    same = states.SAME_FAULT if is_same else ""
    return replace(row, returned_from=number, return_is=same)
