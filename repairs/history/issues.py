"""The issues of a history file: where, and what is wrong."""

from dataclasses import dataclass, field

from shopdesk.errors import RefusedError

MAX_KEPT = 5_000
"""Further issues are only counted: every row might have one."""


class UnreadableFileError(RefusedError):
    """The file as a whole cannot be read."""


@dataclass(frozen=True, slots=True, order=True)
class ImportIssue:
    """`line` is the line of the file where the row begins; 1 is the header."""

    line: int
    column: str
    text: str

    def __str__(self) -> str:
        where = f"line {self.line}" + (f", {self.column}" if self.column else "")
        return f"{where}: {self.text}"


@dataclass
class ImportIssues:
    """All issues of a file, added in any order and reported by line."""

    count: int = 0
    _kept: list[ImportIssue] = field(default_factory=list)

    def add(self, line: int, column: str, text: str) -> None:
        self.count += 1
        if len(self._kept) < MAX_KEPT:
            self._kept.append(ImportIssue(line, column, text))

    def __bool__(self) -> bool:
        return self.count > 0

    def first(self, limit: int) -> list[ImportIssue]:
        return sorted(self._kept)[:limit]
