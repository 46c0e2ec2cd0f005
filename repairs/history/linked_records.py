"""The records that past jobs refer to: customers, devices, fault book, stock."""

from collections import Counter, defaultdict
from collections.abc import Collection, Hashable, Iterable, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from statistics import median_low, mode

import pandas as pd
from django.db import models
from django.db.models import F
from django.utils import timezone

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.faults import fix_types
from repairs.faults.models import Check, Fault, Fix, Symptom
from repairs.history.cells import CheckAndResult
from repairs.history.existing import (
    batches,
    load_deliveries,
    load_devices,
    load_devices_without_serial,
    model_key,
    visit_of,
)
from repairs.history.issues import ImportIssues
from repairs.history.matching import (
    NO_SERIAL,
    CustomerIndex,
    Visit,
    check_returns,
    match_devices,
    serial_normalized,
)
from repairs.history.past_jobs import PastJob
from repairs.history.rows import ImportRow
from repairs.jobs.models import Job
from repairs.stock.models import Delivery, Part, StockMovement
from shopdesk.lookup import normalize_search

MAX_RESULTS = Check._meta.get_field("results").max_length
IMPORT_NOTE = "from the history file"


class Created(Counter[type[models.Model]]):
    """Number of records of each kind that an import created, and their keys."""

    def __init__(self) -> None:
        super().__init__()
        self.pks: dict[type[models.Model], list[int]] = defaultdict(list)


def noon(day: date) -> datetime:
    """Return the moment that represents a day whose time is not known."""
    return timezone.make_aware(datetime.combine(day, time(12)))


def stock_movement(
    delivery: Delivery, *, kind: str, quantity: int, on: date, reason: str = IMPORT_NOTE
) -> StockMovement:
    """Return a stock movement on a past day, not saved yet."""
    return StockMovement(
        part=delivery.part,
        delivery=delivery,
        kind=kind,
        quantity=quantity,
        reason=reason,
        moved_at=noon(on),
    )


def create(records: Sequence[models.Model], created: Created) -> None:
    """Save new records of one kind, and count them by kind; links are not counted."""
    if records:
        kind = type(records[0])
        kind.objects.bulk_create(records)
        created.pks[kind] += [record.pk for record in records]
        if not kind._meta.auto_created:
            created[kind] += len(records)


class LinkedRecords:
    """The records that a file's jobs refer to: first all are found, then saved.

    `earlier` are the jobs on record to which some of them are returns; `created` counts
    the new records.
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
        self._symptoms: dict[str, Symptom] = {}
        self._checks: dict[str, Check] = {}
        self._results: dict[tuple[str, str], str] = {}
        self._customers: dict[str, Customer] = {}
        self._device_keys: dict[str, Hashable] = {}
        self._devices: dict[Hashable, Device] = {}

    def customer(self, number: str) -> Customer:
        """Return the customer of the job of this number."""
        return self._customers[number]

    def device(self, number: str) -> Device:
        return self._devices[self._device_keys[number]]

    def symptoms(self, names: Iterable[str]) -> list[Symptom]:
        """Return the symptoms of these names, each once."""
        found = [self._symptoms[normalize_search(name)] for name in names]
        return list(dict.fromkeys(found))

    def results(self, checks: Iterable[CheckAndResult]) -> dict[Check, str]:
        """Return the checks with their results as the fault book spells them."""
        keys = [(normalize_search(c.check), normalize_search(c.result)) for c in checks]
        return {self._checks[key[0]]: self._results[key] for key in keys}

    # --- looking up -------------------------------------------------------------------

    def look_up(self, *, numbers: Collection[str], issues: ImportIssues) -> None:
        """Find the records of each job, and check its return and its codes."""
        heads = [job.head for job in self.jobs]
        customers = Customer.objects.filter(erased_on=None).order_by("id")
        self._index = CustomerIndex(customers if heads else [])
        self._customers = self._index.match(heads)
        self._find_devices(heads, numbers=numbers, issues=issues)
        self._find_codes("fault", self.faults, Fault, issues=issues)
        self._find_codes("fix", self.fixes, Fix, issues=issues)

    def _find_devices(
        self, heads: list[ImportRow], *, numbers: Collection[str], issues: ImportIssues
    ) -> None:
        visits = {number: visit_of(job) for number, job in self.earlier.items()}
        visits |= {head.job: self._visit(head) for head in heads}
        check_returns(visits, numbers=numbers, issues=issues)
        with_serial = load_devices(
            visit.serial for visit in visits.values() if visit.serial
        )
        self._device_keys = match_devices(
            visits,
            existing={serial: device.pk for serial, device in with_serial.items()},
            issues=issues,
        )
        self._devices = {job.device_id: job.device for job in self.earlier.values()}
        self._devices |= {device.pk: device for device in with_serial.values()}

    def _visit(self, head: ImportRow) -> Visit:
        model, serial = model_key(head), serial_normalized(head.serial)
        return Visit(
            row=head,
            owner=id(self._customers[head.job]),
            model=model,
            serial=(model[1], serial) if serial else None,
        )

    def _find_codes(
        self, column: str, found: dict, kind: type, *, issues: ImportIssues
    ) -> None:
        """Find the codes; an unknown one is new if any row gives its name."""
        found |= {record.code: record for record in kind.objects.all()}
        rows = [row for job in self.jobs for row in job.rows if getattr(row, column)]
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
        """Add the records that the jobs need and that are missing."""
        by_day = sorted(self.jobs, key=lambda job: job.head.booked_in)
        self._save_customers()
        self._save_devices([job.head for job in by_day])
        self._save_fault_book()
        self._save_symptoms()
        self._save_checks()
        self._save_deliveries([row for job in by_day for row in job.repairs])

    def _save_customers(self) -> None:
        customers = {id(c): c for c in self._customers.values() if c.pk is None}
        new, completed = list(customers.values()), list(self._index.completed.values())
        for customer in new + completed:
            customer.search = customer.search_text()
        create(new, self.created)
        Customer.objects.bulk_update(completed, ["email", "phone", "search"], 500)

    def _save_devices(self, heads: list[ImportRow]) -> None:
        models = {model_key(m): m for m in DeviceModel.objects.order_by("-id")}
        owners = {id(customer): customer for customer in self._customers.values()}
        without_serial = load_devices_without_serial(c.pk for c in owners.values())
        new_models, new = [], []
        for head in heads:
            key, model = self._device_keys[head.job], model_key(head)
            device = self._devices.get(key)
            if device is None and key[0] == NO_SERIAL:
                device = without_serial.get((owners[key[1]].pk, model))
            if device is None:
                if model not in models:
                    models[model] = DeviceModel(
                        kind=head.kind, maker=head.maker, model=head.model
                    )
                    new_models.append(models[model])
                device = Device(model=models[model])
                new.append(device)
            self._devices[key] = device
            if device.pk is None:
                device.owner = self.customer(head.job)  # of the latest visit
                if not device.serial and serial_normalized(head.serial):
                    device.serial = head.serial
                device.set_keys()
        create(new_models, self.created)
        create(new, self.created)

    def _save_fault_book(self) -> None:
        rows = [row for job in self.jobs for row in job.rows if row.fix]
        new_fixes = [fix for fix in self.fixes.values() if fix.pk is None]
        for fix in new_fixes:
            of_fix = [row for row in rows if row.fix == fix.code]
            fix.fix_type = mode(row.declared or fix_types.LASTING for row in of_fix)
            if minutes := [row.minutes for row in of_fix if row.minutes]:
                fix.minutes = median_low(minutes)
        create([f for f in self.faults.values() if f.pk is None], self.created)
        create(new_fixes, self.created)
        through = Fix.faults.through
        codes = sorted({(row.fault, row.fix) for row in rows if row.fault})
        pairs = [(self.faults[fault].pk, self.fixes[fix].pk) for fault, fix in codes]
        known = set(through.objects.values_list("fault_id", "fix_id"))
        links = [
            through(fault_id=fault, fix_id=fix)
            for fault, fix in pairs
            if (fault, fix) not in known
        ]
        create(links, self.created)

    def _save_symptoms(self) -> None:
        """Find the symptoms by name, ignoring case and accents; add unknown ones."""
        found = {normalize_search(one.name): one for one in Symptom.objects.all()}
        new = []
        for name in (name for job in self.jobs for name in job.head.symptoms):
            if (key := normalize_search(name)) not in found:
                found[key] = Symptom(name=name)
                new.append(found[key])
        create(new, self.created)
        self._symptoms = found

    def _save_checks(self) -> None:
        """The same of checks; results that the fault book lacks are added to them."""
        found = {normalize_search(one.name): one for one in Check.objects.all()}
        spelt = {
            (key, normalize_search(option)): option
            for key, check in found.items()
            for option in check.result_options
        }
        new, changed = [], {}
        for one in (one for job in self.jobs for one in job.head.checks):
            key = normalize_search(one.check)
            if (check := found.get(key)) is None:
                check = found[key] = Check(name=one.check)
                new.append(check)
            if spelt.setdefault((key, normalize_search(one.result)), one.result) in (
                options := check.result_options
            ):
                continue
            results = ";".join([*options, one.result])
            if len(results) <= MAX_RESULTS:
                check.results = results
                changed[key] = check
        create(new, self.created)
        for check in changed.values():
            if check not in new:
                check.save(update_fields=["results"])
        self._checks, self._results = found, spelt

    def _save_deliveries(self, rows: list[ImportRow]) -> None:
        """Receive the parts that the jobs used, before their use, so that stock is
        unchanged.
        """
        used = pd.DataFrame(
            [
                (part.number, part.lot, part.quantity, part.cost, row.booked_in)
                for row in rows
                for part in row.parts
            ],
            columns=["number", "lot", "quantity", "cost", "day"],
        )
        lots = used.groupby(["number", "lot"], sort=False, as_index=False).agg(
            quantity=("quantity", "sum"), cost=("cost", "first"), day=("day", "first")
        )
        parts = self._save_parts(lots["number"].unique().tolist())
        existing = load_deliveries(part.pk for part in parts.values())
        new, movements = [], []
        for number, lot, quantity, cost, day in lots.itertuples(index=False, name=None):
            part = parts[number]
            delivery = existing.get((part.pk, lot))
            if delivery is None:
                delivery = Delivery(
                    part=part,
                    lot=lot,
                    quantity=quantity,
                    remaining=0,
                    unit_cost=cost or Decimal(0),
                    received_on=day,
                )
                new.append(delivery)
            else:
                Delivery.objects.filter(pk=delivery.pk).update(
                    quantity=F("quantity") + quantity
                )
            self.deliveries[number, lot] = delivery
            kind = StockMovement.Kind.RECEIVED
            movements.append(
                stock_movement(delivery, kind=kind, quantity=quantity, on=day)
            )
        create(new, self.created)
        create(movements, self.created)

    def _save_parts(self, numbers: list[str]) -> dict[str, Part]:
        parts = {
            part.number: part for part in batches(Part.objects.all(), "number", numbers)
        }
        new = [Part(number=n, name=n) for n in numbers if n not in parts]
        for part in new:
            part.search = part.search_text()
        create(new, self.created)
        return parts | {part.number: part for part in new}
