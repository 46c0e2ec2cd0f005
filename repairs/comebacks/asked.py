"""What was asked of the comeback table, and how that is said in words."""

import re
from dataclasses import dataclass
from datetime import date

SAYS_LITTLE = (
    "This says little about a person: who gets the hard jobs has more comebacks, and"
    " a handful of repairs is mostly luck."
)
STILL_DRAWN = (
    "Only the repairs counted are fewer. What each fix is drawn towards, and what is"
    " expected of it, still comes from all repairs of the shop."
)


@dataclass(frozen=True)
class Asked:
    """The day, the horizon, and which repairs alone are counted; empty means all."""

    as_of: date
    within: int
    kind: str = ""
    maker: str = ""
    model: str = ""
    by: str = ""
    """A technician's sign-in name; `by_name` is what they are called."""
    by_name: str = ""

    @property
    def is_narrowed(self) -> bool:
        return any((self.kind, self.maker, self.model, self.by))

    @property
    def of_all(self) -> "Asked":
        """The same of all repairs."""
        return Asked(as_of=self.as_of, within=self.within)

    @property
    def words(self) -> str:
        """Which repairs alone are counted, as half a sentence; empty for all."""
        names = (("kind", self.kind), ("maker", self.maker), ("model", self.model))
        of = ", ".join(f"{name} {value}" for name, value in names if value)
        whose = f" of devices of {of}" if of else ""
        done = f"{',' if of else ''} done by {self.by_name or self.by}"
        said = f"only repairs{whose}{done if self.by else ''}"
        return said if self.is_narrowed else ""

    @property
    def sentences(self) -> list[str]:
        """What must be said wherever figures of so few repairs are shown."""
        if not self.is_narrowed:
            return []
        said = [f"Counted here are {self.words}. {STILL_DRAWN}"]
        return [*said, SAYS_LITTLE] if self.by else said

    @property
    def in_address(self) -> dict[str, str]:
        """The questions of an address that asks the same."""
        narrow = {name: getattr(self, name) for name in ("kind", "maker", "model")}
        asked = {"as_of": self.as_of.isoformat(), "within": str(self.within)}
        return asked | {k: v for k, v in (*narrow.items(), ("by", self.by)) if v}

    def file_name(self, ending: str) -> str:
        """The name of a file that holds the answer; it says what was asked."""
        only = [
            f"{name}-{value}"
            for name, value in self.in_address.items()
            if name not in ("as_of", "within")
        ]
        name = "-".join(["comebacks", str(self.as_of), f"{self.within}-days", *only])
        plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
        return f"{plain[:120]}.{ending}"
