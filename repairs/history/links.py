"""Which jobs are visits of one device, and whether returns can be as they are told."""

from collections.abc import Collection, Hashable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from repairs.customers.names import normalize_serial
from repairs.history.wrongs import Wrongs

PLACEHOLDERS = frozenset("NA NONE NIL NULL NOSERIAL UNKNOWN UNREADABLE MISSING".split())

Serial = tuple[str, str]
"""Maker and serial as they are compared."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A job as far as its device and its return go; `device` where it is on record."""

    number: str
    line: int
    booked_in: date
    handed_back: date | None
    returned_from: str
    owner: Hashable
    model: Hashable
    serial: Serial | None
    device: int | None = None


def serial_key(serial: str) -> str:
    """The serial as it is compared; empty where the text says that there is none."""
    key = normalize_serial(serial)
    return "" if key in PLACEHOLDERS or len(set(key)) == 1 else key


def check_returns(
    visits: Mapping[str, Visit], *, seen: Collection[str], wrongs: Wrongs
) -> None:
    """Tell every return that can't be: of no job, before its hand-back, in a circle.

    `visits` holds the jobs of the file and those on record that they came back from,
    `seen` every number in the file, also of rows that could not be read.
    """
    for visit in visits.values():
        if not visit.returned_from or visit.device is not None:
            continue
        earlier = visits.get(visit.returned_from)
        if earlier is None:
            if visit.returned_from not in seen:
                _wrong(visit, f"There is no job {visit.returned_from}.", wrongs)
        elif earlier.handed_back is None:
            _wrong(visit, f"Job {earlier.number} was not handed back yet.", wrongs)
        elif earlier.handed_back > visit.booked_in:
            _wrong(
                visit,
                f"Job {earlier.number} was handed back on {earlier.handed_back}, after"
                f" this one came in on {visit.booked_in}.",
                wrongs,
            )
    for circle in _circles(visits):
        numbers = " from ".join([*circle, circle[0]])
        _wrong(visits[circle[0]], f"Returns in a circle: {numbers}.", wrongs)


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
            if len(circle) > 1:  # a job that returns from itself is told by its row
                yield circle


def devices(
    visits: Mapping[str, Visit], *, known: Mapping[Serial, int], wrongs: Wrongs
) -> dict[str, Hashable]:
    """The device of each visit: an id of one on record, or what stands for a new one.

    A serial names it. A visit without one takes the device of the visits it is linked
    to by returns; else it is the one device of that model that its customer brings.
    """
    found: dict[str, Hashable] = {}
    for chain in _chains(visits):
        device = _of_chain(chain, known=known)
        for visit in chain:
            found[visit.number] = device
            _check_same(visit, visits.get(visit.returned_from), chain, known, wrongs)
    return found


def _chains(visits: Mapping[str, Visit]) -> list[list[Visit]]:
    """The visits in groups that returns link, each in the order they came in."""
    parent: dict[str, str] = {}

    def root(number: str) -> str:
        while (above := parent.get(number, number)) != number:
            parent[number] = parent.get(above, above)
            number = above
        return number

    for visit in visits.values():
        if visit.returned_from in visits:
            parent[root(visit.number)] = root(visit.returned_from)
    chains: dict[str, list[Visit]] = {}
    for visit in visits.values():
        chains.setdefault(root(visit.number), []).append(visit)
    return [
        sorted(chain, key=lambda v: (v.booked_in, v.line)) for chain in chains.values()
    ]


def _of_chain(chain: list[Visit], *, known: Mapping[Serial, int]) -> Hashable:
    for visit in chain:
        if visit.device is not None:
            return visit.device
    for visit in chain:
        if visit.serial:
            return known.get(visit.serial, ("serial", *visit.serial))
    return ("bare", chain[0].owner, chain[0].model)


def _check_same(
    visit: Visit,
    earlier: Visit | None,
    chain: list[Visit],
    known: Mapping[Serial, int],
    wrongs: Wrongs,
) -> None:
    """Tell a return that names another device than the job it came back from."""
    if earlier is None or visit.device is not None:
        return
    but = f"It came back from job {earlier.number}, yet"
    serials_told = {v.serial for v in chain if v.serial}
    if visit.serial and earlier.serial:
        if visit.serial != earlier.serial:
            _wrong(visit, f"{but} that was another maker or serial.", wrongs)
    elif visit.model != earlier.model:
        _wrong(visit, f"{but} that was another model.", wrongs)
    elif len(serials_told) > 1:
        _wrong(visit, f"{but} its returns name several serials.", wrongs)
    elif (
        visit.serial
        and earlier.device is not None
        and known.get(visit.serial, earlier.device) != earlier.device
    ):
        _wrong(visit, f"{but} its serial is on record as another device.", wrongs)


def _wrong(visit: Visit, says: str, wrongs: Wrongs) -> None:
    wrongs.add(visit.line, "returned_from", says)
