"""The books that past jobs lean on: customers, devices, the fault book, the shelf."""

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from statistics import median_low, mode

from django.db.models import F
from django.utils import timezone

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.faults import declared
from repairs.faults.models import Fault, Fix
from repairs.history import links, queries
from repairs.history.past_jobs import PastJob
from repairs.history.people import Person
from repairs.history.rows import Row
from repairs.history.wrongs import Wrongs
from repairs.jobs.models import Job
from repairs.stock.models import Delivery, Part, StockMove

FROM_FILE = "from the history file"


def noon(day: date) -> datetime:
    """The moment that stands for a day of which the hour is not known."""
    return timezone.make_aware(datetime.combine(day, time(12)))


def move(delivery: Delivery, *, kind: str, quantity: int, on: date, why: str = ""):
    """A move of the shelf on a day that is past, not written yet."""
    return StockMove(
        part=delivery.part,
        delivery=delivery,
        kind=kind,
        quantity=quantity,
        why=why or FROM_FILE,
        moved_at=noon(on),
    )


def write(records: Sequence, *, made: Counter) -> None:
    """Write new records of one kind, and count them by their kind."""
    if records:
        kind = type(records[0])
        kind.objects.bulk_create(records)
        made[str(kind._meta.verbose_name_plural)] += len(records)


class Books:
    """What the books know for the jobs of one file, and what they must learn first."""

    def __init__(
        self,
        jobs: list[PastJob],
        *,
        people: list[Person],
        known: dict[str, Job],
        made: Counter,
    ) -> None:
        self.jobs = jobs
        self.known = known
        self.made = made
        self.person_of = {
            job.head.job: person for job, person in zip(jobs, people, strict=True)
        }
        self.customers: dict[Person, Customer] = {}
        self.device_of: dict = {}
        self.devices: dict = {}
        self.faults: dict[str, Fault] = {}
        self.fixes: dict[str, Fix] = {}
        self.deliveries: dict[tuple[str, str], Delivery] = {}

    def customer(self, number: str) -> Customer:
        """The customer of the job of this number."""
        return self.customers[self.person_of[number]]

    def device(self, number: str) -> Device:
        return self.devices[self.device_of[number]]

    # --- finding, before anything is written ---------------------------------------

    def find_devices(self, *, seen: Collection[str], wrongs: Wrongs) -> None:
        """Say which device each job was on, and check the returns."""
        visits = {
            number: queries.visit_of(job, queries.rows_of(job)[0])
            for number, job in self.known.items()
        }
        for job in self.jobs:
            head = job.head
            model = queries.model_key(head.kind, head.maker, head.model)
            serial = links.serial_key(head.serial)
            visits[head.job] = links.Visit(
                number=head.job,
                line=head.line,
                booked_in=head.booked_in,
                handed_back=head.handed_back,
                returned_from=head.returned_from,
                owner=self.person_of[head.job],
                model=model,
                serial=(model[1], serial) if serial else None,
            )
        links.check_returns(visits, seen=seen, wrongs=wrongs)
        with_serial = queries.devices_with(
            visit.serial for visit in visits.values() if visit.serial
        )
        self.device_of = links.devices(
            visits,
            known={serial: device.pk for serial, device in with_serial.items()},
            wrongs=wrongs,
        )
        self.devices = {job.device_id: job.device for job in self.known.values()}
        self.devices |= {device.pk: device for device in with_serial.values()}

    def find_faults(self, *, wrongs: Wrongs) -> None:
        """Look the codes up; those the book lacks are new if any row names them."""
        rows = [row for job in self.jobs for row in job.repairs]
        for column, book, record in (
            ("fault", self.faults, Fault),
            ("fix", self.fixes, Fix),
        ):
            book |= {one.code: one for one in record.objects.all()}
            names = {}
            for row in rows:
                code, name = getattr(row, column), getattr(row, f"{column}_name")
                if name:
                    names.setdefault(code, name)
            for row in rows:
                code = getattr(row, column)
                if not code or code in book:
                    continue
                if code in names:
                    book[code] = record(code=code, name=names[code])
                else:
                    wrongs.add(
                        row.line,
                        column,
                        f"The fault book has no {column} {code}, and no row names it:"
                        f" give it a {column}_name.",
                    )

    # --- writing ---------------------------------------------------------------------

    def write(self) -> None:
        """Add what the jobs need and the books lack."""
        self._write_customers()
        self._write_devices()
        self._write_fault_book()
        self._write_deliveries()

    def _write_customers(self) -> None:
        people = list(dict.fromkeys(self.person_of.values()))
        known = Customer.objects.in_bulk([p.id for p in people if p.id is not None])
        new, changed = [], []
        for person in people:
            customer = known.get(person.id) or Customer(name=person.name)
            customer.email, customer.phone = person.email, person.phone
            customer.search = customer.searched_as()
            self.customers[person] = customer
            if person.id is None:
                new.append(customer)
            elif person.is_changed:
                changed.append(customer)
        write(new, made=self.made)
        Customer.objects.bulk_update(changed, ["email", "phone", "search"], 500)

    def _write_devices(self) -> None:
        models = {
            queries.model_key(m.kind, m.maker, m.model): m
            for m in DeviceModel.objects.order_by("-id")
        }
        bare = queries.bare_devices(c.pk for c in self.customers.values())
        new_models, new = [], []
        for job in sorted(self.jobs, key=lambda job: job.head.booked_in):
            head, device_key = job.head, self.device_of[job.head.job]
            customer = self.customer(head.job)
            if device_key in self.devices:
                device = self.devices[device_key]
                if device.pk is None:
                    device.owner = customer  # whoever brought it last
                    self._fill_serial(device, head)
                continue
            key = queries.model_key(head.kind, head.maker, head.model)
            if key not in models:
                models[key] = DeviceModel(
                    kind=head.kind, maker=head.maker, model=head.model
                )
                new_models.append(models[key])
            device = None
            if isinstance(device_key, tuple) and device_key[0] == "bare":
                device = bare.get((self.customers[device_key[1]].pk, key))
            if device is None:
                device = Device(model=models[key], owner=customer)
                self._fill_serial(device, head)
                new.append(device)
            self.devices[device_key] = device
        write(new_models, made=self.made)
        write(new, made=self.made)

    @staticmethod
    def _fill_serial(device: Device, row: Row) -> None:
        if not device.serial and links.serial_key(row.serial):
            device.serial = row.serial
        device.set_keys()

    def _write_fault_book(self) -> None:
        minutes, kinds = defaultdict(list), defaultdict(list)
        pairs = set()
        for job in self.jobs:
            for row in job.repairs:
                if row.fix:
                    pairs.add((row.fault, row.fix))
                    kinds[row.fix].append(row.declared or declared.LASTING)
                    if row.minutes:
                        minutes[row.fix].append(row.minutes)
        new = [fix for fix in self.fixes.values() if fix.pk is None]
        for fix in new:
            fix.declared = mode(kinds[fix.code])
            if minutes[fix.code]:
                fix.minutes = median_low(minutes[fix.code])
        write(
            [fault for fault in self.faults.values() if fault.pk is None],
            made=self.made,
        )
        write(new, made=self.made)
        through = Fix.faults.through
        through.objects.bulk_create(
            [
                through(fault_id=self.faults[fault].pk, fix_id=self.fixes[fix].pk)
                for fault, fix in sorted(pairs)
            ],
            ignore_conflicts=True,
        )

    def _write_deliveries(self) -> None:
        """What the jobs used was received before: the shelf ends as it was."""
        used: Counter = Counter()
        first: dict[tuple[str, str], date] = {}
        cost: dict[tuple[str, str], Decimal] = {}
        for job in sorted(self.jobs, key=lambda job: job.head.booked_in):
            for row in job.repairs:
                for part in row.parts:
                    key = (part.number, part.lot)
                    used[key] += part.quantity
                    first.setdefault(key, row.booked_in)
                    if part.cost is not None:
                        cost.setdefault(key, part.cost)
        numbers = list(dict.fromkeys(number for number, _ in used))
        parts = {}
        for some in queries.in_pieces(numbers):
            parts |= {p.number: p for p in Part.objects.filter(number__in=some)}
        new_parts = [Part(number=n, name=n) for n in numbers if n not in parts]
        for part in new_parts:
            part.search = part.searched_as()
        write(new_parts, made=self.made)
        parts |= {part.number: part for part in new_parts}
        known = queries.deliveries_of(parts[number].pk for number in numbers)
        new, moves = [], []
        for (number, lot), quantity in used.items():
            key, part = (number, lot), parts[number]
            delivery = known.get((part.pk, lot))
            if delivery is None:
                delivery = Delivery(
                    part=part,
                    lot=lot,
                    quantity=quantity,
                    remaining=0,
                    unit_cost=cost.get(key, Decimal(0)),
                    received_on=first[key],
                )
                new.append(delivery)
            else:
                Delivery.objects.filter(pk=delivery.pk).update(
                    quantity=F("quantity") + quantity
                )
            self.deliveries[key] = delivery
            moves.append(
                move(
                    delivery,
                    kind=StockMove.Kind.RECEIVED,
                    quantity=quantity,
                    on=first[key],
                )
            )
        write(new, made=self.made)
        write(moves, made=self.made)
