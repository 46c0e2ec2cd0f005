"""The rows of a European Repair Information Form, and which are missing.

Source: Directive (EU) 2024/1799, Article 4(4) and Annex I, seventeen rows in two parts.
The form is voluntary; once issued, its conditions stay valid for at least thirty days
(Article 4(5)).
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

FIXED, CALCULATED = "fixed", "calc"
MIN_VALID_DAYS = 30
"""Calendar days from the day of issue (Article 4(5))."""

SHOP, JOB, FORM = "shop", "job", "form"
"""Where a row is entered."""


@dataclass(frozen=True)
class Extra:
    """An ancillary service, such as removal, installation or transport."""

    what: str
    cost: Decimal


@dataclass(frozen=True)
class Terms:
    """The rows of the form; `price` is the total with tax, `max_price` its ceiling."""

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
    price_rule: str
    max_price: Decimal | None
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
        """Return the highest price allowed once the form is accepted."""
        return self.max_price if self.is_calculated else self.price


@dataclass(frozen=True)
class MissingField:
    """A row that must be filled before the form is issued."""

    row: str
    sentence: str
    where: str


def missing_fields(terms: Terms) -> list[MissingField]:
    """Return the missing rows, in the order of the form."""
    needed = [
        (terms.repairer, "Repairer", "Enter the shop’s name.", SHOP),
        (terms.address, "Address", "Enter the shop’s address.", SHOP),
        (terms.phone, "Telephone number", "Enter the shop’s phone number.", SHOP),
        (terms.email, "Email address", "Enter the shop’s email address.", SHOP),
        (terms.good, "Good to be repaired", "Enter the device.", JOB),
        (terms.defect, "Nature of the defect", "Enter the defect.", FORM),
        (terms.measures, "Type of repair", "Enter the repair.", FORM),
        *_price(terms),
        (terms.days is not None, "Time to complete", "Enter the number of days.", FORM),
        (
            terms.has_replacement is not None,
            "Temporary replacement",
            "Select yes or no.",
            FORM,
        ),
        (terms.place, "Place", "Enter the place of handover.", FORM),
        (
            all(extra.what.strip() for extra in terms.extras),
            "Ancillary services",
            "Enter what each cost is for.",
            FORM,
        ),
        (
            terms.valid_days >= MIN_VALID_DAYS,
            "Period of validity",
            f"Enter at least {MIN_VALID_DAYS} days.",
            FORM,
        ),
    ]
    return [
        MissingField(row, sentence, where)
        for value, row, sentence, where in needed
        if not (value.strip() if isinstance(value, str) else value)
    ]


def _price(terms: Terms) -> list[tuple[bool | str, str, str, str]]:
    if not terms.is_calculated:
        return [(terms.price is not None, "Price", "Enter the price.", FORM)]
    return [
        (terms.price_rule, "Price", "Enter how the price is calculated.", FORM),
        (
            terms.max_price is not None and terms.max_price > 0,
            "Maximum price",
            "Enter a maximum price.",
            FORM,
        ),
    ]


def last_valid_day(given_on: date, *, days: int) -> date:
    """Return the last day of validity; the day of issue is day 0."""
    return given_on + timedelta(days=max(days, MIN_VALID_DAYS))


def written(terms: Terms) -> dict[str, object]:
    """Return the rows as plain values, to be stored beside the paper."""
    told = dict(vars(terms))
    told["extras"] = [
        {"what": extra.what, "cost": str(extra.cost)} for extra in terms.extras
    ]
    for name in ("price", "max_price", "replacement_cost"):
        told[name] = None if told[name] is None else str(told[name])
    return told
