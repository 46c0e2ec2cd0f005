"""What is to be said about the rows of a shop's own list, and asked about the list."""

from dataclasses import dataclass, field

from repairs.history.rows import ImportRow
from repairs.sheet_import.sheet_columns import FIELDS


@dataclass(frozen=True, order=True)
class Remark:
    """Something about a row: why it is left out, or what was not taken over."""

    line: int
    field: str
    text: str
    is_left_out: bool
    proposed: str = ""
    """The value that is taken, where it is not that of the list."""

    def __str__(self) -> str:
        label = FIELDS[self.field].label if self.field in FIELDS else ""
        where = f"row {self.line}" + (f", {label}" if label else "")
        return f"{where}: {self.text}"


@dataclass(frozen=True)
class Question:
    """A decision that the file needs."""

    name: str
    text: str
    examples: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        examples = f" ({', '.join(self.examples)})" if self.examples else ""
        return f"{self.text}{examples}"


@dataclass
class Conversion:
    rows: list[ImportRow] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    total: int = 0
    already: list[int] = field(default_factory=list)
    """Lines whose job is on record; they are left as they are."""

    def remark(
        self,
        line: int,
        name: str,
        text: str,
        *,
        is_left_out: bool = False,
        proposed: str = "",
    ) -> None:
        self.remarks.append(Remark(line, name, text, is_left_out, proposed))

    def questions_about(self, name: str) -> list[Question]:
        return [question for question in self.questions if question.name == name]

    @property
    def left_out(self) -> list[Remark]:
        """The rows that are not imported, apart from those on record."""
        return [remark for remark in self.remarks if remark.is_left_out]

    @property
    def notes(self) -> list[Remark]:
        return [remark for remark in self.remarks if not remark.is_left_out]
