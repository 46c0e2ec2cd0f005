"""A delivery, a model or a board revision with its figures, as people read them."""

from dataclasses import dataclass
from datetime import date

from repairs.comebacks.month import groups
from repairs.comebacks.rows import share

DELIVERY = "delivery"
MODEL = "model"
BOARD = "board revision"


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

    @property
    def is_bad(self) -> bool:
        return self.word == groups.TOO_OFTEN

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


def what_matters(one: Named) -> tuple[bool, float, float, str]:
    """What returns too often first, then what most likely does."""
    return (not one.is_bad, -one.over, -one.expected, one.name)
