"""What a shop decides about its list: how it is read, and what is not clear in it."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any, get_args, get_origin, get_type_hints

from repairs.jobs import states
from repairs.sheet_import.sheet_columns import FIELDS
from repairs.sheet_import.sheet_file import ENCODINGS, SEPARATORS
from repairs.sheet_import.text_groups import TextGroup
from repairs.sheet_import.written_values import DECIMALS, ORDERS, UNITS
from shopdesk.errors import RefusedError

CLOSE, LEAVE_OUT, KEEP_OPEN = "close", "leave out", "open"
UNKNOWN = "unknown"
NOT_CODED = "not coded"

WITHOUT_HANDOVER = {
    CLOSE: "closed on the day they were booked in",
    KEEP_OPEN: "still in the shop",
    LEAVE_OUT: "leave out",
}
WITHOUT_CUSTOMER = {
    UNKNOWN: "imported for “Unknown customer”",
    LEAVE_OUT: "leave out",
}
WITHOUT_OUTCOME = {
    states.FIXED: "fixed, if fault and work are known",
    NOT_CODED: "not coded yet",
}
IGNORED = "ignore"
OUTCOMES = {**states.CLOSED_WITH, NOT_CODED: "not known"}


class DecisionError(RefusedError):
    """A stored decision makes no sense; the text names it."""


@dataclass(frozen=True)
class Decisions:
    """All decisions about one list. An empty text was not decided.

    Columns, corrections and words are those of the list. `groups` and `fix_groups` say
    which entries of the fault book the texts of a group mean.
    """

    sheet: str = ""
    encoding: str = ""
    separator: str = ""
    header_line: int = 0
    columns: dict[str, str] = field(default_factory=dict)
    """Field by header; of a column left out, `ignore` or an empty text."""
    date_order: str = ""
    decimal: str = ""
    minutes_unit: str = ""
    without_handover: str = ""
    without_customer: str = ""
    without_outcome: str = ""
    default_kind: str = "device"
    outcomes: dict[str, str] = field(default_factory=dict)
    faults: list[TextGroup] = field(default_factory=list)
    fixes: list[TextGroup] = field(default_factory=list)
    corrections: dict[str, dict[str, str]] = field(default_factory=dict)
    """Typed values by line and field."""
    left_out: list[int] = field(default_factory=list)
    """Lines."""
    earlier: dict[str, str] = field(default_factory=dict)
    """The job a row came back from, by line; empty for none."""

    def __post_init__(self) -> None:
        allowed: dict[str, Mapping[str, str]] = {
            "encoding": ENCODINGS,
            "separator": SEPARATORS,
            "date_order": ORDERS,
            "decimal": DECIMALS,
            "minutes_unit": UNITS,
            "without_handover": WITHOUT_HANDOVER,
            "without_customer": WITHOUT_CUSTOMER,
            "without_outcome": WITHOUT_OUTCOME,
        }
        for name, values in allowed.items():
            if (value := getattr(self, name)) and value not in values:
                raise DecisionError(
                    f"{name}: “{value}” is not allowed. Use {' or '.join(values)}."
                )
        for word, outcome in self.outcomes.items():
            if outcome and outcome not in OUTCOMES:
                raise DecisionError(
                    f"outcomes, {word}: “{outcome}” is not allowed. Use"
                    f" {' or '.join(OUTCOMES)}."
                )
        self._check_columns()

    def _check_columns(self) -> None:
        owners: dict[str, str] = {}
        for header, name in self.columns.items():
            if not name or name == IGNORED:
                continue
            if name not in FIELDS:
                raise DecisionError(
                    f"columns, {header}: there is no field “{name}”. Fields are"
                    f" {', '.join(FIELDS)}."
                )
            if name in owners:
                raise DecisionError(
                    f"Both “{owners[name]}” and “{header}” are"
                    f" {FIELDS[name].label}. Choose one of them."
                )
            owners[name] = header

    @property
    def headers(self) -> dict[str, str]:
        """Return the header of each field."""
        return {
            name: header
            for header, name in self.columns.items()
            if name and name != IGNORED
        }

    def changed(self, **values: Any) -> "Decisions":
        """Return the decisions with other values; raises DecisionError."""
        return replace(self, **values)

    @property
    def reusable(self) -> "Decisions":
        """Return what also holds for the next file of this kind."""
        return self.changed(corrections={}, left_out=[], earlier={})

    def to_json(self) -> str:
        facts = asdict(self)
        for group in (*facts["faults"], *facts["fixes"]):
            del group["counts"]
        return json.dumps(facts, indent=2, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> "Decisions":
        """Read what `to_json` wrote, perhaps changed by hand; raises DecisionError."""
        try:
            facts = json.loads(text)
        except ValueError as error:
            raise DecisionError(
                f"The file of decisions is not JSON: {error}."
            ) from None
        if not isinstance(facts, dict):
            raise DecisionError("The file of decisions must hold one JSON object.")
        known = {one.name for one in fields(cls)}
        if unknown := sorted(facts.keys() - known):
            raise DecisionError(f"There is no decision {', '.join(unknown)}.")
        hints = get_type_hints(cls)
        for name, value in facts.items():
            if not _has_type(value, hints[name]):
                raise DecisionError(f"{name}: the value has the wrong form.")
        for name in ("faults", "fixes"):
            facts[name] = [TextGroup.from_facts(one) for one in facts.get(name, [])]
        return cls(**facts)


def _has_type(value: Any, hint: Any) -> bool:
    kind, inner = get_origin(hint) or hint, get_args(hint)
    if kind is TextGroup:
        return TextGroup.is_valid(value)
    if kind is int and isinstance(value, bool) or not isinstance(value, kind):
        return False
    if kind is list:
        return all(_has_type(one, inner[0]) for one in value)
    if kind is dict:
        return all(_has_type(one, inner[1]) for one in value.values())
    return True
