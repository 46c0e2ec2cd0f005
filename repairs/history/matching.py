"""Which rows mean one customer, which jobs are visits of one device.

A customer is known by email; else by phone and name together; else, if the row has
neither, by the exact name if only one customer has it. So two people with one phone
stay two, and so do two of one name as soon as anything tells them apart.
"""

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from repairs.customers.names import normalize_serial
from repairs.history.issues import ImportIssues

PLACEHOLDERS = frozenset("NA NONE NIL NULL NOSERIAL UNKNOWN UNREADABLE MISSING".split())

NO_SERIAL = "no serial"
Serial = tuple[str, str]
"""Maker and serial number as they are compared."""

# --- customers ------------------------------------------------------------------------


class CustomerFacts(NamedTuple):
    """What one job says of its customer."""

    name: str
    email: str
    phone: str


@dataclass(eq=False, slots=True)
class Person:
    """A customer on record (`id`), or one to be added (None)."""

    name: str
    email: str = ""
    phone: str = ""
    id: int | None = None
    is_changed: bool = False

    def add_missing(self, facts: CustomerFacts) -> None:
        """Take over what was unknown; what is known stays."""
        if facts.email and not self.email:
            self.email, self.is_changed = facts.email, True
        if facts.phone and not self.phone:
            self.phone, self.is_changed = facts.phone, True


@dataclass
class _Index:
    by_email: dict[str, Person] = field(default_factory=dict)
    by_phone: dict[tuple[str, str], Person] = field(default_factory=dict)
    by_name: dict[str, list[Person]] = field(default_factory=lambda: defaultdict(list))

    def add(self, person: Person) -> None:
        self.by_name[person.name].append(person)
        self.add_contacts(person, person.email, person.phone)

    def add_contacts(self, person: Person, email: str, phone: str) -> None:
        if email:
            self.by_email.setdefault(email.casefold(), person)
        if phone:
            self.by_phone.setdefault((phone, person.name.casefold()), person)

    def find(self, facts: CustomerFacts) -> Person | None:
        person = self.by_email.get(facts.email.casefold()) or self.by_phone.get(
            (facts.phone, facts.name.casefold())
        )
        if person:
            return person
        same_name = self.by_name.get(facts.name, [])
        bare = [p for p in same_name if not p.email and not p.phone]
        if facts.email or facts.phone:
            return bare[0] if len(same_name) == len(bare) == 1 else None
        return same_name[0] if len(same_name) == 1 else next(iter(bare), None)


def match_customers(
    facts: Sequence[CustomerFacts], *, existing: Iterable[Person]
) -> list[Person]:
    """Return the customer of each job, whatever their order.

    Jobs that say most are matched first: an email before a phone before a name alone.
    """
    index = _Index()
    for person in existing:
        index.add(person)
    people: dict[int, Person] = {}
    for n in sorted(range(len(facts)), key=lambda n: _vagueness(facts[n])):
        found = index.find(facts[n])
        if found is None:
            found = Person(*facts[n])
            index.add(found)
        else:
            found.add_missing(facts[n])
            index.add_contacts(found, facts[n].email, facts[n].phone)
        people[n] = found
    return [people[n] for n in range(len(facts))]


def _vagueness(facts: CustomerFacts) -> int:
    return 0 if facts.email else 1 if facts.phone else 2


# --- devices and returns --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Visit:
    """A job as far as its device and its return go; `device` if it is on record."""

    number: str
    line: int
    booked_in: date
    handed_back: date | None
    returned_from: str
    owner: Hashable
    model: Hashable
    serial: Serial | None
    device: int | None = None


def serial_normalized(serial: str) -> str:
    """Return the serial as it is compared; empty if the text means that it has none."""
    key = normalize_serial(serial)
    return "" if key in PLACEHOLDERS or len(set(key)) == 1 else key


def check_returns(
    visits: Mapping[str, Visit], *, numbers: Collection[str], issues: ImportIssues
) -> None:
    """Add every return that cannot be: from no job, before its handover, circular.

    `visits` holds the jobs of the file and those on record that they came back from,
    `numbers` every job number in the file, also of rows that could not be read.
    """
    for visit in visits.values():
        if not visit.returned_from or visit.device is not None:
            continue
        earlier = visits.get(visit.returned_from)
        if earlier is None:
            if visit.returned_from not in numbers:
                _add(issues, visit, f"There is no job {visit.returned_from}.")
        elif earlier.handed_back is None:
            _add(issues, visit, f"Job {earlier.number} was not handed back yet.")
        elif earlier.handed_back > visit.booked_in:
            _add(
                issues,
                visit,
                f"Job {earlier.number} was handed back on {earlier.handed_back}, after"
                f" this one was booked in on {visit.booked_in}.",
            )
    for circle in _circles(visits):
        numbers_text = " from ".join([*circle, circle[0]])
        _add(issues, visits[circle[0]], f"Circular returns: {numbers_text}.")


def _add(issues: ImportIssues, visit: Visit, text: str) -> None:
    issues.add(visit.line, "returned_from", text)


def _circles(visits: Mapping[str, Visit]) -> Iterator[list[str]]:
    done: set[str] = set()
    for start in visits:
        path: list[str] = []
        number = start
        while number in visits and number not in done:
            done.add(number)
            path.append(number)
            number = visits[number].returned_from
        if number in path:
            circle = path[path.index(number) :]
            if len(circle) > 1:  # a return of itself is refused with its row
                yield circle


def match_devices(
    visits: Mapping[str, Visit],
    *,
    existing: Mapping[Serial, int],
    issues: ImportIssues,
) -> dict[str, Hashable]:
    """Return the device of each visit: an id on record, or a key for a new device.

    A serial identifies it. A visit without one has the device of the visits it is
    linked to by returns; else its customer has one device of that model.
    """
    devices: dict[str, Hashable] = {}
    for chain in _chains(visits):
        device = _device_of(chain, existing)
        for visit in chain:
            devices[visit.number] = device
            problem = _mismatch(visit, visits.get(visit.returned_from), chain, existing)
            if problem:
                job = visit.returned_from
                text = f"Job {job} was for a different device ({problem})."
                _add(issues, visit, text)
    return devices


def _chains(visits: Mapping[str, Visit]) -> list[list[Visit]]:
    """Return the visits in groups that returns link, each by day."""
    parent: dict[str, str] = {}

    def root(number: str) -> str:
        while (above := parent.get(number, number)) != number:
            parent[number] = parent.get(above, above)
            number = above
        return number

    for visit in visits.values():
        if visit.returned_from in visits:
            parent[root(visit.number)] = root(visit.returned_from)
    chains: dict[str, list[Visit]] = defaultdict(list)
    for visit in sorted(visits.values(), key=lambda v: (v.booked_in, v.line)):
        chains[root(visit.number)].append(visit)
    return list(chains.values())


def _device_of(chain: list[Visit], existing: Mapping[Serial, int]) -> Hashable:
    for visit in chain:
        if visit.device is not None:
            return visit.device
    for visit in chain:
        if visit.serial:
            return existing.get(visit.serial, ("serial", *visit.serial))
    return (NO_SERIAL, chain[0].owner, chain[0].model)


def _mismatch(
    visit: Visit,
    earlier: Visit | None,
    chain: list[Visit],
    existing: Mapping[Serial, int],
) -> str:
    """Return how a return's device differs from that of its earlier job, if it does."""
    if earlier is None or visit.device is not None:
        return ""
    if visit.serial and earlier.serial:
        return "" if visit.serial == earlier.serial else "another maker or serial"
    if visit.model != earlier.model:
        return "another model"
    if len({v.serial for v in chain if v.serial}) > 1:
        return "its returns have several serials"
    if (
        visit.serial
        and earlier.device is not None
        and existing.get(visit.serial, earlier.device) != earlier.device
    ):
        return "the serial is on record for another device"
    return ""
