"""Which rows speak of one customer.

By email; else by telephone and name together; else, where neither is told, by the name
exactly, if there is just one of that name. So two people with one telephone stay two,
and so do two of one name as soon as anything tells them apart.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field


@dataclass(eq=False, slots=True)
class Person:
    """A customer on record (`id`), or one to be added (None)."""

    name: str
    email: str = ""
    phone: str = ""
    id: int | None = None
    is_changed: bool = False

    def fill(self, told: "Told") -> None:
        """Take what is told and was not known; what was known stays."""
        if told.email and not self.email:
            self.email, self.is_changed = told.email, True
        if told.phone and not self.phone:
            self.phone, self.is_changed = told.phone, True


@dataclass(frozen=True, slots=True)
class Told:
    name: str
    email: str
    phone: str


@dataclass
class _Book:
    by_email: dict[str, Person] = field(default_factory=dict)
    by_phone: dict[tuple[str, str], Person] = field(default_factory=dict)
    by_name: dict[str, list[Person]] = field(default_factory=lambda: defaultdict(list))

    def enter(self, person: Person, email: str, phone: str) -> None:
        if email:
            self.by_email.setdefault(email.casefold(), person)
        if phone:
            self.by_phone.setdefault((phone, person.name.casefold()), person)

    def add(self, person: Person) -> Person:
        self.by_name[person.name].append(person)
        self.enter(person, person.email, person.phone)
        return person

    def found(self, told: Told) -> Person | None:
        if told.email.casefold() in self.by_email:
            return self.by_email[told.email.casefold()]
        if told.phone:
            key = (told.phone, told.name.casefold())
            if key in self.by_phone:
                return self.by_phone[key]
        same_name = self.by_name.get(told.name, [])
        bare = [p for p in same_name if not p.email and not p.phone]
        if told.email or told.phone:
            return bare[0] if len(same_name) == len(bare) == 1 else None
        return same_name[0] if len(same_name) == 1 else next(iter(bare), None)


def matched(told: Sequence[Told], *, known: Iterable[Person]) -> list[Person]:
    """The customer of each row. Those told most of come first, whatever the order."""
    book = _Book()
    for known_person in known:
        book.add(known_person)
    people: list[Person | None] = [None] * len(told)
    for number in sorted(range(len(told)), key=lambda n: _little_told(told[n])):
        one = told[number]
        person = book.found(one)
        if person is None:
            person = book.add(Person(one.name, one.email, one.phone))
        else:
            person.fill(one)
            book.enter(person, one.email, one.phone)
        people[number] = person
    return [person for person in people if person is not None]


def _little_told(told: Told) -> int:
    return 0 if told.email else 1 if told.phone else 2
