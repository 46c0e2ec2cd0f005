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


FILTERS = {
    "kind": "job__device__model__kind",
    "maker": "job__device__model__maker",
    "model": "job__device__model__model",
    "by": "by__username",
}
"""The filters, and the field of a repair that each is compared with."""


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
    def filters(self) -> dict[str, str]:
        """The filters that are set."""
        filters = {name: getattr(self, name) for name in FILTERS}
        return {name: value for name, value in filters.items() if value}

    @property
    def is_filtered(self) -> bool:
        return bool(self.filters)

    @property
    def unfiltered(self) -> "Scope":
        """The same date and period without filters."""
        return Scope(as_of=self.as_of, within=self.within)

    @property
    def repairs(self) -> Q:
        """The filters as a condition on repairs."""
        return Q(**{FILTERS[name]: value for name, value in self.filters.items()})

    @property
    def text(self) -> str:
        """The filters in words; empty if there are none."""
        texts = self.filters
        if self.by:
            texts |= {"by": self.by_name or self.by}
        names = {"by": "repaired by"}
        return ", ".join(f"{names.get(name, name)} {texts[name]}" for name in texts)

    @property
    def notices(self) -> list[str]:
        """The note shown with every figure of filtered repairs."""
        if not self.is_filtered:
            return []
        notice = f"Filter: {self.text}. {ONLY_COUNTS}"
        return [notice, NOT_ABOUT_PEOPLE] if self.by else [notice]

    @property
    def params(self) -> dict[str, str]:
        """The parameters of an address with the same scope."""
        return {"as_of": str(self.as_of), "within": str(self.within), **self.filters}

    @property
    def query(self) -> str:
        return urlencode(self.params)

    def file_name(self, ending: str) -> str:
        """Return the name of a file that holds the report."""
        filters = [f"{name}-{value}" for name, value in self.filters.items()]
        parts = ["comebacks", str(self.as_of), f"{self.within}-days", *filters]
        name = re.sub(r"[^a-z0-9]+", "-", "-".join(parts).lower()).strip("-")
        return f"{name[:120]}.{ending}"
