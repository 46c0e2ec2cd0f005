"""Which comebacks are reported: the date, the comeback period and the filters."""

import re
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from django.db.models import Q

NOT_ABOUT_PEOPLE = (
    "This is not a measure of a person’s work: difficult jobs have more comebacks, and"
    " small numbers vary by chance."
)
ONLY_COUNTS = "Only the counts are filtered. Estimates still use all repairs."


@dataclass(frozen=True)
class Scope:
    """What a report is about; an empty filter means all repairs."""

    as_of: date
    within: int
    kind: str = ""
    maker: str = ""
    model: str = ""
    by: str = ""
    """A technician's sign-in name; `by_name` is the name shown."""
    by_name: str = ""

    @property
    def is_filtered(self) -> bool:
        return any((self.kind, self.maker, self.model, self.by))

    @property
    def whole(self) -> "Scope":
        """The same date and period without filters."""
        return Scope(as_of=self.as_of, within=self.within)

    @property
    def repairs(self) -> Q:
        """The filters as a condition on repairs."""
        filters = {
            "job__device__model__kind": self.kind,
            "job__device__model__maker": self.maker,
            "job__device__model__model": self.model,
            "by__username": self.by,
        }
        return Q(**{field: value for field, value in filters.items() if value})

    @property
    def text(self) -> str:
        """The filters in words; empty without any."""
        names = (("kind", self.kind), ("maker", self.maker), ("model", self.model))
        parts = [f"{name} {value}" for name, value in names if value]
        if self.by:
            parts.append(f"repaired by {self.by_name or self.by}")
        return ", ".join(parts)

    @property
    def notices(self) -> list[str]:
        """What is shown with every figure of filtered repairs."""
        if not self.is_filtered:
            return []
        notice = f"Filter: {self.text}. {ONLY_COUNTS}"
        return [notice, NOT_ABOUT_PEOPLE] if self.by else [notice]

    @property
    def params(self) -> dict[str, str]:
        """The parameters of an address that asks for the same."""
        filters = {
            name: getattr(self, name) for name in ("kind", "maker", "model", "by")
        }
        day = {"as_of": self.as_of.isoformat(), "within": str(self.within)}
        return day | {name: value for name, value in filters.items() if value}

    @property
    def query(self) -> str:
        return urlencode(self.params)

    def file_name(self, ending: str) -> str:
        """Return the name of a file that holds the report."""
        filters = [
            f"{name}-{value}"
            for name, value in self.params.items()
            if name not in ("as_of", "within")
        ]
        parts = ["comebacks", str(self.as_of), f"{self.within}-days", *filters]
        name = re.sub(r"[^a-z0-9]+", "-", "-".join(parts).lower()).strip("-")
        return f"{name[:120]}.{ending}"
