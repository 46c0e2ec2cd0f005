"""Words of a row that its records say otherwise, kept beside them line by line."""

from collections.abc import Mapping

from repairs.history.rows import Row


def beside(row: Row, on_record: Mapping[str, str]) -> dict[str, str]:
    """What the row says, column by column, where the record says something else."""
    words = {column: str(getattr(row, column)) for column in on_record}
    return {
        column: text
        for column, text in words.items()
        if text not in ("", on_record[column])
    }


def lines_written(words: Mapping[str, str]) -> str:
    """As it is kept: one line a column. A cell that lands here has no line breaks."""
    return "\n".join(f"{column}: {text}" for column, text in words.items())


def lines_read(kept: str) -> dict[str, str]:
    """What `lines_written` wrote."""
    pairs = (line.partition(": ") for line in kept.split("\n") if line)
    return {column: text for column, _, text in pairs}
