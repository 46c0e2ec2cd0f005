"""The records that past jobs need: customers, devices, the fault book, the stock."""

from collections import Counter, defaultdict
from collections.abc import Collection, Hashable, Iterable, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from statistics import median_low, mode

from django.db import models
from django.db.models import F
from django.utils import timezone

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.faults import fix_types
from repairs.faults.models import Fault, Fix
from repairs.history import on_record
from repairs.history.issues import ImportIssues
from repairs.history.matching import (
    NO_SERIAL,
    CustomerFacts,
    Person,
    Visit,
    check_returns,
    match_customers,
    match_devices,
    serial_normalized,
)
from repairs.history.past_jobs import PastJob
from repairs.history.rows import Row
from repairs.jobs.models import Job
from repairs.stock.models import Delivery, Part, StockMovement

IMPORT_NOTE = "from the history file"
Created = Counter[type[models.Model]]
"""How many records of each kind an import has made."""


def noon(day: date) -> datetime:
    """Return the moment that stands for a day whose hour is not known."""
    return timezone.make_aware(datetime.combine(day, time(12)))


def stock_movement(
    delivery: Delivery, *, kind: str, quantity: int, on: date, why: str = IMPORT_NOTE
) -> StockMovement:
    """Return a movement on a past day, not saved yet."""
    return StockMovement(
        part=delivery.part,
        delivery=delivery,
        kind=kind,
        quantity=quantity,
        why=why,
        moved_at=noon(on),
    )


def create(records: Sequence[models.Model], created: Created) -> None:
    """Save new records of one kind, and count them by their kind."""
    if records:
        kind = type(records[0])
        kind.objects.bulk_create(records)
        created[kind] += len(records)


class Books:
    """The records of one file's jobs: first all is looked up, then saved.

    `earlier` are the jobs on record that some of them came back from; `created` counts
    what was added.
    """

    def __init__(
        self, jobs: list[PastJob], *, earlier: dict[str, Job], created: Created
    ) -> None:
        self.jobs = jobs
        self.earlier = earlier
        self.created = created
        self.faults: dict[str, Fault] = {}
        self.fixes: dict[str, Fix] = {}
        self.deliveries: dict[tuple[str, str], Delivery] = {}
        self._people: dict[str, Person] = {}
        self._customers: dict[Person, Customer] = {}
        self._device_keys: dict[str, Hashable] = {}
        self._devices: dict[Hashable, Device] = {}

    def customer(self, number: str) -> Customer:
        """Return the customer of the job of this number."""
        return self._customers[self._people[number]]

    def device(self, number: str) -> Device:
        return self._devices[self._device_keys[number]]

    # --- looking up -------------------------------------------------------------------

    def look_up(self, *, numbers: Collection[str], issues: ImportIssues) -> None:
        """Find the records of each job, and check its return and its codes."""
        heads = [job.head for job in self.jobs]
        people = match_customers(
            [CustomerFacts(head.customer, head.email, head.phone) for head in heads],
            existing=on_record.load_people() if heads else [],
        )
        self._people = {h.job: person for h, person in zip(heads, people, strict=True)}
        self._find_devices(heads, numbers=numbers, issues=issues)
        self._find_codes("fault", self.faults, Fault, issues=issues)
        self._find_codes("fix", self.fixes, Fix, issues=issues)

    def _find_devices(
        self, heads: list[Row], *, numbers: Collection[str], issues: ImportIssues
    ) -> None:
        visits = {
            number: on_record.visit_of(job, on_record.rows_of(job)[0])
            for number, job in self.earlier.items()
        }
        visits |= {head.job: self._visit(head) for head in heads}
        check_returns(visits, numbers=numbers, issues=issues)
        with_serial = on_record.load_devices(
            visit.serial for visit in visits.values() if visit.serial
        )
        self._device_keys = match_devices(
            visits,
            existing={serial: device.pk for serial, device in with_serial.items()},
            issues=issues,
        )
        self._devices = {job.device_id: job.device for job in self.earlier.values()}
        self._devices |= {device.pk: device for device in with_serial.values()}

    def _visit(self, head: Row) -> Visit:
        model, serial = on_record.model_key(head), serial_normalized(head.serial)
        return Visit(
            number=head.job,
            line=head.line,
            booked_in=head.booked_in,
            handed_back=head.handed_back,
            returned_from=head.returned_from,
            owner=self._people[head.job],
            model=model,
            serial=(model[1], serial) if serial else None,
        )

    def _find_codes(
        self, column: str, found: dict, kind: type, *, issues: ImportIssues
    ) -> None:
        """Look the codes up; an unknown one is new if any row gives its name."""
        found |= {record.code: record for record in kind.objects.all()}
        rows = [row for job in self.jobs for row in job.repairs if getattr(row, column)]
        for row in rows:
            code, name = getattr(row, column), getattr(row, f"{column}_name")
            if name and code not in found:
                found[code] = kind(code=code, name=name)
        for row in rows:
            if (code := getattr(row, column)) not in found:
                issues.add(
                    row.line,
                    column,
                    f"The fault book has no {column} {code}. Enter a {column}_name in"
                    " one of its rows to add it.",
                )

    # --- saving -----------------------------------------------------------------------

    def save(self) -> None:
        """Add what the jobs need and the records lack."""
        by_day = sorted(self.jobs, key=lambda job: job.head.booked_in)
        self._save_customers()
        self._save_devices([job.head for job in by_day])
        self._save_fault_book()
        self._save_deliveries([row for job in by_day for row in job.repairs])

    def _save_customers(self) -> None:
        people = list(dict.fromkeys(self._people.values()))
        existing = Customer.objects.in_bulk([p.id for p in people if p.id is not None])
        for person in people:
            customer = existing.get(person.id) or Customer(name=person.name)
            customer.email, customer.phone = person.email, person.phone
            customer.search = customer.searched_as()
            self._customers[person] = customer
        create([self._customers[p] for p in people if p.id is None], self.created)
        changed = [self._customers[p] for p in people if p.id and p.is_changed]
        Customer.objects.bulk_update(changed, ["email", "phone", "search"], 500)

    def _save_devices(self, heads: list[Row]) -> None:
        models = {
            on_record.model_key(model): model
            for model in DeviceModel.objects.order_by("-id")
        }
        without_serial = on_record.load_devices_without_serial(
            customer.pk for customer in self._customers.values()
        )
        new_models, new = [], []
        for head in heads:
            key, owner = self._device_keys[head.job], self.customer(head.job)
            model_key = on_record.model_key(head)
            device = self._devices.get(key)
            if device is None and key[0] == NO_SERIAL:
                device = without_serial.get((self._customers[key[1]].pk, model_key))
            if device is None:
                if model_key not in models:
                    models[model_key] = DeviceModel(
                        kind=head.kind, maker=head.maker, model=head.model
                    )
                    new_models.append(models[model_key])
                device = Device(model=models[model_key])
                new.append(device)
            self._devices[key] = device
            if device.pk is None:
                device.owner = owner  # whoever brought it last
                if not device.serial and serial_normalized(head.serial):
                    device.serial = head.serial
                device.set_keys()
        create(new_models, self.created)
        create(new, self.created)

    def _save_fault_book(self) -> None:
        rows = [row for job in self.jobs for row in job.repairs if row.fix]
        minutes, types = defaultdict(list), defaultdict(list)
        for row in rows:
            types[row.fix].append(row.declared or fix_types.LASTING)
            if row.minutes:
                minutes[row.fix].append(row.minutes)
        new_fixes = [fix for fix in self.fixes.values() if fix.pk is None]
        for fix in new_fixes:
            fix.fix_type = mode(types[fix.code])
            if minutes[fix.code]:
                fix.minutes = median_low(minutes[fix.code])
        create([f for f in self.faults.values() if f.pk is None], self.created)
        create(new_fixes, self.created)
        through = Fix.faults.through
        through.objects.bulk_create(
            [
                through(fault_id=self.faults[fault].pk, fix_id=self.fixes[fix].pk)
                for fault, fix in sorted({(row.fault, row.fix) for row in rows})
            ],
            ignore_conflicts=True,
        )

    def _save_deliveries(self, rows: list[Row]) -> None:
        """Receive what the jobs used, before they used it: stock ends as it was."""
        used: Counter[tuple[str, str]] = Counter()
        first: dict[tuple[str, str], date] = {}
        cost: dict[tuple[str, str], Decimal] = {}
        for row in rows:
            for part in row.parts:
                lot = (part.number, part.lot)
                used[lot] += part.quantity
                first.setdefault(lot, row.booked_in)
                if part.cost is not None:
                    cost.setdefault(lot, part.cost)
        parts = self._save_parts(number for number, _ in used)
        existing = on_record.load_deliveries(part.pk for part in parts.values())
        new, movements = [], []
        for lot, quantity in used.items():
            part = parts[lot[0]]
            delivery = existing.get((part.pk, lot[1]))
            if delivery is None:
                delivery = Delivery(
                    part=part,
                    lot=lot[1],
                    quantity=quantity,
                    remaining=0,
                    unit_cost=cost.get(lot, Decimal(0)),
                    received_on=first[lot],
                )
                new.append(delivery)
            else:
                Delivery.objects.filter(pk=delivery.pk).update(
                    quantity=F("quantity") + quantity
                )
            self.deliveries[lot] = delivery
            kind = StockMovement.Kind.RECEIVED
            movements.append(
                stock_movement(delivery, kind=kind, quantity=quantity, on=first[lot])
            )
        create(new, self.created)
        create(movements, self.created)

    def _save_parts(self, numbers: Iterable[str]) -> dict[str, Part]:
        numbers = list(dict.fromkeys(numbers))
        found = on_record.batches(Part.objects.all(), "number", numbers)
        parts = {part.number: part for part in found}
        new = [Part(number=n, name=n) for n in numbers if n not in parts]
        for part in new:
            part.search = part.searched_as()
        create(new, self.created)
        return parts | {part.number: part for part in new}
