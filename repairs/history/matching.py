"""Decide which rows are of one customer, and which jobs are visits of one device.

A customer is identified by email; else by phone and name together; else, if the row has
neither, by the exact name if only one customer has it. So two people with one phone are
two customers, and so are two of one name once an email or phone tells them apart.
"""

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from repairs.customers.models import Customer
from repairs.customers.names import normalize_serial
from repairs.history.issues import ImportIssues
from repairs.history.rows import ImportRow

PLACEHOLDERS = frozenset("NA NONE NIL NULL NOSERIAL UNKNOWN UNREADABLE MISSING".split())

NO_SERIAL = "no serial"
Serial = tuple[str, str]
"""Maker and serial number in the form used for comparison."""

# --- customers ------------------------------------------------------------------------


class CustomerIndex:
    """Customers by what identifies them."""

    def __init__(self, customers: Iterable[Customer]) -> None:
        self.completed: dict[int, Customer] = {}
        """Customers on record that got an email or a phone number, by id."""
        self._by_email: dict[str, Customer] = {}
        self._by_phone: dict[tuple[str, str], Customer] = {}
        self._by_name: dict[str, list[Customer]] = defaultdict(list)
        for customer in customers:
            self._by_name[customer.name].append(customer)
            self._add_contacts(customer, customer.email, customer.phone)

    def match(self, rows: Sequence[ImportRow]) -> dict[str, Customer]:
        """Return the customer of each job, whatever the order of the rows.

        Rows with the most information are matched first: email, then phone, then name
        alone.
        """
        ordered = sorted(rows, key=lambda row: (not row.email, not row.phone))
        customers = {row.job: self._match(row) for row in ordered}
        return {row.job: customers[row.job] for row in rows}

    def _match(self, row: ImportRow) -> Customer:
        customer = self._find(row)
        if customer is None:
            customer = Customer(name=row.customer, email=row.email, phone=row.phone)
            self._by_name[row.customer].append(customer)
        for name in ("email", "phone"):
            # Missing values are filled in; existing ones are kept.
            if getattr(row, name) and not getattr(customer, name):
                setattr(customer, name, getattr(row, name))
                if customer.pk:
                    self.completed[customer.pk] = customer
        self._add_contacts(customer, row.email, row.phone)
        return customer

    def _add_contacts(self, customer: Customer, email: str, phone: str) -> None:
        if email:
            self._by_email.setdefault(email.casefold(), customer)
        if phone:
            self._by_phone.setdefault((phone, customer.name.casefold()), customer)

    def _find(self, row: ImportRow) -> Customer | None:
        customer = self._by_email.get(row.email.casefold()) or self._by_phone.get(
            (row.phone, row.customer.casefold())
        )
        if customer:
            return customer
        same_name = self._by_name.get(row.customer, [])
        bare = [c for c in same_name if not c.email and not c.phone]
        if row.email or row.phone:
            return bare[0] if len(same_name) == len(bare) == 1 else None
        return same_name[0] if len(same_name) == 1 else next(iter(bare), None)


# --- devices and returns --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Visit:
    """A job reduced to its device and its return; `device` if it is on record."""

    row: ImportRow
    owner: Hashable
    model: Hashable
    serial: Serial | None
    device: int | None = None


def serial_normalized(serial: str) -> str:
    """Return the serial number for comparison; empty if the text means that there is
    none.
    """
    key = normalize_serial(serial)
    return "" if key in PLACEHOLDERS or len(set(key)) == 1 else key


def check_returns(
    visits: Mapping[str, Visit], *, numbers: Collection[str], issues: ImportIssues
) -> None:
    """Add an issue for every impossible return: no such job, too early, or circular.

    `visits` holds the jobs of the file and the jobs on record to which they are
    returns, `numbers` every job number in the file, including rows that could not be
    read.
    """
    for visit in visits.values():
        row = visit.row
        if not row.returned_from or visit.device is not None:
            continue
        earlier = visits.get(row.returned_from)
        if earlier is None:
            if row.returned_from not in numbers:
                _add(issues, visit, f"There is no job {row.returned_from}.")
        elif earlier.row.handed_back is None:
            _add(issues, visit, f"Job {row.returned_from} was not handed over yet.")
        elif earlier.row.handed_back > row.booked_in:
            _add(
                issues,
                visit,
                f"Job {row.returned_from} was handed over on {earlier.row.handed_back},"
                f" after this one was booked in on {row.booked_in}.",
            )
    for circle in _circles(visits):
        numbers_text = " from ".join([*circle, circle[0]])
        _add(issues, visits[circle[0]], f"Circular returns: {numbers_text}.")


def _add(issues: ImportIssues, visit: Visit, text: str) -> None:
    issues.add(visit.row.line, "returned_from", text)


def _circles(visits: Mapping[str, Visit]) -> Iterator[list[str]]:
    done: set[str] = set()
    for start in visits:
        path: list[str] = []
        number = start
        while number in visits and number not in done:
            done.add(number)
            path.append(number)
            number = visits[number].row.returned_from
        if number in path:
            circle = path[path.index(number) :]
            if len(circle) > 1:  # A return of itself was refused with its row.
                yield circle


def match_devices(
    visits: Mapping[str, Visit],
    *,
    existing: Mapping[Serial, int],
    issues: ImportIssues,
) -> dict[str, Hashable]:
    """Return the device of each visit: an id on record, or a key for a new device.

    A serial number identifies it. A visit without one has the device of the visits
    linked to it by returns; else its customer has one device of that model.
    """
    devices: dict[str, Hashable] = {}
    for chain in _chains(visits):
        device = _device_of(chain, existing)
        for visit in chain:
            devices[visit.row.job] = device
            problem = _mismatch(
                visit, visits.get(visit.row.returned_from), chain, existing
            )
            if problem:
                job = visit.row.returned_from
                text = f"Job {job} was for a different device ({problem})."
                _add(issues, visit, text)
    return devices


def _chains(visits: Mapping[str, Visit]) -> list[list[Visit]]:
    """Return the visits in groups linked by returns, each group by day."""
    chains = {number: [visit] for number, visit in visits.items()}
    for number, visit in visits.items():
        chain = chains[number]
        earlier = chains.get(visit.row.returned_from, chain)
        if chain is not earlier:
            shorter, longer = sorted((chain, earlier), key=len)
            longer += shorter
            chains |= {member.row.job: longer for member in shorter}
    return [
        sorted(chain, key=lambda visit: (visit.row.booked_in, visit.row.line))
        for chain in {id(chain): chain for chain in chains.values()}.values()
    ]


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
    """Return how a return's device differs from that of its earlier job, or ""."""
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
