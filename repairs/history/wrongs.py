"""What is wrong with a history file: where, and in a sentence."""

from dataclasses import dataclass, field

KEPT = 5_000
"""More are counted and not kept: nobody reads them, and the file may be all wrong."""


class Unreadable(Exception):
    """The file as a whole can't be read, told as a sentence."""


@dataclass(frozen=True, slots=True, order=True)
class Wrong:
    """`line` is the line of the file where the row begins; 1 is the header."""

    line: int
    column: str
    says: str

    def __str__(self) -> str:
        where = f"line {self.line}" + (f", {self.column}" if self.column else "")
        return f"{where}: {self.says}"


@dataclass
class Wrongs:
    """All that is wrong, found in any order and told by line."""

    kept: list[Wrong] = field(default_factory=list)
    count: int = 0

    def add(self, line: int, column: str, says: str) -> None:
        self.count += 1
        if len(self.kept) < KEPT:
            self.kept.append(Wrong(line, column, says))

    def __bool__(self) -> bool:
        return self.count > 0

    def first(self, most: int) -> list[Wrong]:
        return sorted(self.kept)[:most]
