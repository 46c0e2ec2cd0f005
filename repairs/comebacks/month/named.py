"""A delivery, a model or a board revision with its figures, as people read them."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from repairs.comebacks.month import groups
from repairs.comebacks.rows import share

DELIVERY = "delivery"
MODEL = "model"
BOARD = "board revision"
LEAST_SHARED = 2  # comebacks that two must share before it is said


@dataclass(frozen=True)
class Named:
    kind: str
    key: tuple[int | str, ...]
    """What tells it from the others of its kind."""
    name: str
    repairs: int
    returned: int
    expected: float
    ratio: float
    low: float
    high: float
    over: float
    word: str
    part: str = ""
    supplier: str = ""
    received: date | None = None
    back: frozenset[int] = field(default=frozenset(), repr=False)
    """Of what returns too often: its repairs that came back."""
    devices: int = 0
    """On so many devices."""
    shared: tuple[tuple[str, int], ...] = ()
    """Others that return too often, and how many of these comebacks are theirs too."""

    @property
    def is_bad(self) -> bool:
        return self.word == groups.TOO_OFTEN

    @property
    def called(self) -> str:
        return f"{self.kind} {self.name}"

    @property
    def devices_said(self) -> str:
        return f"on {self.devices} device{'' if self.devices == 1 else 's'}"

    @property
    def shared_said(self) -> str:
        """What may be to blame in its place, in a sentence."""
        told = [
            f"{many} of these comebacks are also those of {called}."
            for called, many in self.shared
        ]
        return " ".join(told)

    @property
    def page(self) -> str:
        return {DELIVERY: "delivery", MODEL: "model", BOARD: "board"}[self.kind]

    @property
    def which(self) -> tuple[int, ...]:
        return (int(self.key[0]),)

    @property
    def asked(self) -> tuple[tuple[str, str], ...]:
        return (("revision", str(self.key[1])),) if self.kind == BOARD else ()

    @property
    def returned_said(self) -> str:
        return f"{self.returned} of {self.repairs}"

    @property
    def expected_said(self) -> str:
        return f"{self.expected:.1f}"

    @property
    def ratio_said(self) -> str:
        return f"{self.ratio:.1f}"

    @property
    def limits_said(self) -> str:
        return f"{self.low:.1f}–{self.high:.1f}"

    @property
    def over_said(self) -> str:
        return share(self.over)


def knowing_each_other(groups: Sequence[Named]) -> list[Named]:
    """The same; what returns too often knows who has a part in its comebacks. One of
    the two may be to blame for both.
    """
    bad = [one for one in groups if one.is_bad]

    def shared(one: Named) -> tuple[tuple[str, int], ...]:
        both = [(o.called, len(one.back & o.back)) for o in bad if o is not one]
        return tuple((name, many) for name, many in both if many >= LEAST_SHARED)

    return [replace(one, shared=shared(one)) if one.is_bad else one for one in groups]


def what_matters(one: Named) -> tuple[bool, float, float, str]:
    """What returns too often first, then what most likely does."""
    return (not one.is_bad, -one.over, -one.expected, one.name)
