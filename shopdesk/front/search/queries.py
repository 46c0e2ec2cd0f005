"""What words typed into the one box may mean, in all rooms that the reader may enter.

Each book says by itself which of its records are search, and which of them fit best.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain
from urllib.parse import urlencode

from django.db.models import Model, QuerySet
from django.urls import reverse

from billing.invoices.models import Invoice, Receipt
from billing.quotes.models import Quote
from repairs.customers.fields import phone_of
from repairs.customers.models import Customer, Device
from repairs.faults.models import Fault, Fix
from repairs.jobs.models import Job
from repairs.stock.models import Delivery, Part
from shopdesk.fields import EXACT
from shopdesk.shop.models import Shop
from shopdesk.staff.models import User
from shopdesk.staff.permissions import can_open

SOME = 20
"""Of each kind shown; more words find fewer."""


@dataclass(frozen=True)
class Kind:
    """A kind of record, behind which door it is shown, and which list has all of it."""

    name: str
    door: str
    model: type[Model]
    rows: str = "for_list"
    has_shop_number: bool = False
    all_at: str = ""
    asked_by: str = "q"
    asked_too: str = ""

    def seek(self, words: str, *, by: User) -> QuerySet:
        """Those that the words may mean, each with its `fit`, the best first."""
        return self.model.objects.search(words)

    def shown(self) -> QuerySet:
        """With all that one line of what was found shows."""
        return getattr(self.model.objects, self.rows)()

    def numbered(self, text: str) -> "Found":
        """The one that bears this number, if the shop gives such numbers."""
        records = list(self.shown().numbered(text)[:2]) if self.has_shop_number else []
        return Found(self, text, records, exact=records)

    def best(self, words: str, *, by: User) -> QuerySet:
        """Keys, and how they fit, of all that the words may mean."""
        return self.seek(words, by=by).values_list("pk", "fit")

    def found(self, words: str, *, by: User) -> "Found":
        """The first few that the words may mean."""
        best = list(self.best(words, by=by)[: SOME + 1])
        found = self.with_html(words, best[:SOME])
        found.is_truncated = len(best) > SOME
        return found

    def with_html(self, words: str, best: Iterable[tuple[int, int]]) -> "Found":
        """The records of these keys, in their order."""
        fits = dict(best)
        rows = self.shown().in_bulk(list(fits)) if fits else {}
        records = [rows[pk] for pk in fits if pk in rows]
        exact = [record for record in records if fits[record.pk] == EXACT]
        return Found(self, words, records, exact, min(fits.values(), default=EXACT))


class People(Kind):
    def seek(self, words, *, by):
        phone = phone_of(words, country=Shop.current().country)
        return self.model.objects.search(words, phone=phone)


class Fixes(Kind):
    def seek(self, words, *, by):
        """One that no fault has yet is shown only where it can be changed."""
        found = super().seek(words, by=by)
        return (
            found if can_open(by, "faults:change_fix") else found.exclude(faults=None)
        )


@dataclass
class Found:
    """Records of one kind, the best first; those in `exact` are just what was asked."""

    kind: Kind
    words: str
    records: list
    exact: list = ()
    fit: int = EXACT
    is_truncated: bool = False

    @property
    def all_at(self) -> str:
        """The address of all of them: the room's own list, or one of ours."""
        if not self.kind.all_at:
            asked = urlencode({"q": self.words, "only": self.kind.name})
            return f"{reverse('find')}?{asked}"
        asked = urlencode({self.kind.asked_by: self.words})
        return f"{reverse(self.kind.all_at)}?{asked}{self.kind.asked_too}"


KINDS = (
    Kind("Jobs", "bench:job", Job, has_shop_number=True),
    People(
        "Customers",
        "customers:customer",
        Customer,
        rows="with_last_visit",
        all_at="customers:all",
        asked_by="who",
    ),
    Kind("Devices", "customers:device", Device),
    Kind(
        "Invoices and credit notes",
        "invoices:invoice",
        Invoice,
        has_shop_number=True,
        all_at="invoices:all",
    ),
    Kind("Receipts", "invoices:for_job", Receipt, has_shop_number=True),
    Kind(
        "Quotes",
        "quotes:quote",
        Quote,
        rows="as_found",
        has_shop_number=True,
        all_at="quotes:all",
        asked_too="&standing=all",
    ),
    Kind(
        "Parts",
        "stock:part",
        Part,
        rows="all",
        all_at="stock:parts",
        asked_too="&show=every",
    ),
    Kind("Deliveries", "stock:part", Delivery),
    Kind(
        "Faults",
        "faults:fault",
        Fault,
        rows="all",
        all_at="faults:book",
        asked_too="&show=every",
    ),
    Fixes("Fixes", "faults:fault", Fix),
)


def types_for(reader: User) -> list[Kind]:
    return [kind for kind in KINDS if can_open(reader, kind.door)]


def look_for(readings: list[str], *, by: User) -> list[Found]:
    """All that the words may mean to this reader, the kind that fits best first.

    A number that the shop gave is meant as such, whatever else it may be. The first
    reading of the words that finds anything counts.
    """
    kinds = types_for(by)
    numbered = ([kind.numbered(text) for kind in kinds] for text in readings)
    meant = ([kind.found(text, by=by) for kind in kinds] for text in readings)
    for founds in chain(numbered, meant):
        if founds := [found for found in founds if found.records]:
            return sorted(founds, key=lambda found: found.fit)
    return []
