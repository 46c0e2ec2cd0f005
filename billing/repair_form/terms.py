"""What a European Repair Information Form says, and what it still lacks.

Directive (EU) 2024/1799, Article 4(4) and Annex I: seventeen rows in two parts. The
form is offered of free will; once given, its conditions hold for thirty days at least
(Article 4(5)). What holds where the shop is: check your local rules.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

FIXED, CALCULATED = "fixed", "calc"
LEAST_DAYS = 30
"""Calendar days from the day the form is given (Article 4(5))."""

SHOP, JOB, FORM = "shop", "job", "form"
"""Where a row is filled in."""


@dataclass(frozen=True)
class Extra:
    """An ancillary service, such as taking out, setting up or carrying."""

    what: str
    cost: Decimal


@dataclass(frozen=True)
class Terms:
    """The rows of the form; `price` is the total with tax, `most` its ceiling."""

    repairer: str
    address: str
    phone: str
    email: str
    other_contact: str
    good: str
    defect: str
    measures: str
    mode: str
    price: Decimal | None
    rule: str
    most: Decimal | None
    days: int | None
    has_replacement: bool | None
    replacement_cost: Decimal
    place: str
    extras: tuple[Extra, ...]
    valid_days: int
    more: str

    @property
    def is_calculated(self) -> bool:
        return self.mode == CALCULATED

    @property
    def ceiling(self) -> Decimal | None:
        """No more than this may be asked for once the form is accepted."""
        return self.most if self.is_calculated else self.price


@dataclass(frozen=True)
class Lack:
    """A row that must be filled before the form is given."""

    row: str
    sentence: str
    where: str


def lacks(terms: Terms) -> list[Lack]:
    """What is still missing, in the order of the rows."""
    needed = [
        (terms.repairer, "Repairer", "Write the shop’s name.", SHOP),
        (terms.address, "Address", "Write the shop’s address.", SHOP),
        (terms.phone, "Telephone number", "Write the shop’s telephone number.", SHOP),
        (terms.email, "Email address", "Write the shop’s mail address.", SHOP),
        (terms.good, "Good to be repaired", "Say what device it is.", JOB),
        (terms.defect, "Nature of the defect", "Say what is wrong.", FORM),
        (terms.measures, "Type of repair", "Say what will be done.", FORM),
        *_price(terms),
        (terms.days is not None, "Time to complete", "Say how many days.", FORM),
        (
            terms.has_replacement is not None,
            "Temporary replacement",
            "Say yes or no.",
            FORM,
        ),
        (terms.place, "Place", "Say where the device is handed over.", FORM),
        (
            all(extra.what.strip() for extra in terms.extras),
            "Ancillary services",
            "Say what each cost is for.",
            FORM,
        ),
        (
            terms.valid_days >= LEAST_DAYS,
            "Period of validity",
            f"The form must hold for {LEAST_DAYS} days or more.",
            FORM,
        ),
    ]
    return [
        Lack(row, sentence, where)
        for said, row, sentence, where in needed
        if not (said.strip() if isinstance(said, str) else said)
    ]


def _price(terms: Terms) -> list[tuple[bool | str, str, str, str]]:
    if not terms.is_calculated:
        return [(terms.price is not None, "Price", "Say the price.", FORM)]
    return [
        (terms.rule, "Price", "Say how the price is reckoned.", FORM),
        (
            terms.most is not None and terms.most > 0,
            "Maximum price",
            "A reckoned price needs a maximum.",
            FORM,
        ),
    ]


def holds_until(given_on: date, *, days: int) -> date:
    """The last day; the day of giving is day 0."""
    return given_on + timedelta(days=max(days, LEAST_DAYS))


def written(terms: Terms) -> dict[str, object]:
    """The rows as plain words and figures, to be kept beside the paper."""
    told = dict(vars(terms))
    told["extras"] = [
        {"what": extra.what, "cost": str(extra.cost)} for extra in terms.extras
    ]
    for name in ("price", "most", "replacement_cost"):
        told[name] = None if told[name] is None else str(told[name])
    return told
