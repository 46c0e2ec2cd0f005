"""Who was erased, noted outside the database.

A restored backup may be older than an erasure. The log stands beside the backups, so
that the erasure can be done again before anyone sees the data.
"""

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import BinaryIO

from django.utils.translation import gettext

from repairs.customers.models import Customer
from shopdesk.errors import RefusedError
from shopdesk.recording.canonical import to_json
from shopdesk.stamp import Stamp

FILE = "erasures.txt"


@dataclass(frozen=True)
class ErasureLine:
    """`created_at` tells the customer from one of another shop with the same number."""

    customer: int
    created_at: datetime
    erased_on: date


def add(
    folder: Path,
    customer: Customer,
    *,
    stamp: Stamp,
    merged: Iterable[tuple[int, str | None]] = (),
) -> None:
    """Add a line, one for each in `merged` too, and wait until they are on the disk.

    Raises: RefusedError if it cannot be written.
    """
    by = getattr(stamp.by, "pk", None) or "-"
    known = [(customer.pk, to_json(customer.created_at)), *merged]
    lines = [f"{pk} {created_at} {stamp.on} by {by}\n" for pk, created_at in known]
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with open(folder / FILE, "a+b", opener=_private) as file:
            if file.tell() and not _ends_a_line(file):
                file.write(b"\n")
            file.write("".join(lines).encode())
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise RefusedError(
            gettext(
                "The erasure cannot be noted beside the backups in {folder}: {error}."
                " Nothing was erased."
            ).format(folder=folder, error=error.strerror)
        ) from error


def _ends_a_line(file: BinaryIO) -> bool:
    file.seek(-1, os.SEEK_END)
    return file.read(1) == b"\n"


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def read(folder: Path) -> Iterator[ErasureLine]:
    """Yield the lines; one that a power cut left unfinished is passed over."""
    path = folder / FILE
    if not path.exists():
        return
    for line in path.read_text().splitlines():
        try:
            customer, created_at, erased_on, _, _ = line.split()
            yield ErasureLine(
                int(customer),
                datetime.fromisoformat(created_at),
                date.fromisoformat(erased_on),
            )
        except ValueError:
            continue
