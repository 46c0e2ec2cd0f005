"""Which state of a record may follow which: jobs and quotes have such a table."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from shopdesk.errors import InvalidTransitionError


@dataclass(frozen=True)
class StateTable:
    """The allowed transitions of one kind of record; `labels` name its states."""

    record: str
    labels: Mapping[str, str]
    allowed: Mapping[str, Collection[str]]

    def check(
        self, old: str, new: str, *, only_from: Collection[str] | None = None
    ) -> None:
        """Raise InvalidTransitionError unless `new` may follow `old`.

        `only_from` narrows the table for an action that starts from fewer states.
        """
        if new in self.allowed[old] and (only_from is None or old in only_from):
            return
        raise InvalidTransitionError(
            f"A {self.record} that is {self.labels[old]} cannot become"
            f" {self.labels[new]}."
        )
