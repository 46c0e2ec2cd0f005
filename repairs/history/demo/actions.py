"""The demo shop's books and its past, by the same door as a history file."""

import random
from collections.abc import Callable
from datetime import date, timedelta

from django.db import transaction

from repairs.customers.models import Customer, Device
from repairs.faults.models import Check, Fault, Fix, Symptom, UsualPart
from repairs.history.actions import bring_in
from repairs.history.demo import names
from repairs.history.demo.book import FAULTS, FIXES
from repairs.history.demo.parts import PARTS
from repairs.history.demo.past import DAYS, past
from repairs.history.wrongs import Wrongs
from repairs.jobs.models import Job, Repair
from repairs.stock.actions import receive
from repairs.stock.models import Delivery, Part, Supplier

CHECKS = (
    (
        "Current drawn without a battery",
        "bench supply",
        5,
        "none;steady;too much",
    ),
    ("Resistance of the main rail to ground", "main coil", 5, "short;low;as expected"),
    ("Plug moved in the charging socket", "socket", 2, "holds;drops out"),
    ("Outside screen", "video socket", 3, "picture;no picture"),
    ("Torch held to the display", "display", 1, "picture seen;dark"),
    ("Data lines to ground, diode test", "data choke", 6, "equal;one open;both open"),
    ("Signal before and after the relay", "speaker relay", 6, "equal;weaker;none"),
    ("Ripple on the supply", "power supply", 8, "as expected;high"),
    ("Looked at under the microscope for corrosion", "board", 10, "clean;corroded"),
)


@transaction.atomic
def fill_past(
    *,
    today: date,
    seed: int,
    by,
    progress: Callable[[int], object] = lambda jobs: None,
) -> None:
    """The fault book, the shelf, and the jobs of eighteen months up to yesterday.

    `progress` hears of jobs done.
    """
    pick = random.Random(seed + 1)
    parts = _write_parts()
    _write_fault_book(parts)
    wrongs = Wrongs()
    bring_in(past(today=today, seed=seed), wrongs=wrongs, progress=progress)
    if wrongs:
        raise ValueError(f"The demo shop's past does not hold: {wrongs.first(1)[0]}")
    _say_more_of_jobs(pick)
    _say_more_of_customers(pick)
    _say_more_of_devices(random.Random(seed + 2))
    _fill_shelf(pick, parts, today=today, by=by)


def _write_parts() -> dict[str, Part]:
    parts = [
        Part(number=p.number, name=p.name, value=p.value, bin=p.bin)
        for p in PARTS.values()
    ]
    for part in parts:
        part.search = part.searched_as()
    return {part.number: part for part in Part.objects.bulk_create(parts)}


def _write_fault_book(parts: dict[str, Part]) -> None:
    symptoms = sorted({fault.symptom for fault in FAULTS.values()})
    Symptom.objects.bulk_create([Symptom(name=name) for name in symptoms])
    Check.objects.bulk_create(
        [
            Check(name=name, where=where, minutes=minutes, results=results)
            for name, where, minutes, results in CHECKS
        ]
    )
    Fault.objects.bulk_create(
        [
            Fault(
                code=fault.code,
                name=fault.name,
                area=fault.area,
                part=fault.part,
                mode=fault.mode,
                hazard=fault.hazard,
            )
            for fault in FAULTS.values()
        ]
    )
    faults = {fault.code: fault for fault in Fault.objects.all()}
    for facts in FIXES.values():
        fix = Fix.objects.create(
            code=facts.code,
            name=facts.name,
            declared=facts.declared,
            minutes=facts.minutes,
            hazard=facts.hazard,
        )
        fix.faults.set(
            faults[fault.code]
            for fault in FAULTS.values()
            if facts.code in (pair.fix for pair in fault.pairs)
        )
        UsualPart.objects.bulk_create(
            [
                UsualPart(fix=fix, part=parts[number], quantity=quantity)
                for number, quantity in facts.parts
            ]
        )


def _say_more_of_jobs(pick: random.Random) -> None:
    """What a history file has no column for."""
    jobs = list(Job.objects.select_related("device__model").order_by("id"))
    for job in jobs:
        kind = job.device.model.kind
        if pick.random() < 0.22:
            job.came_by = Job.CameBy.POST
        job.came_with = pick.choice(names.CAME_WITH[kind])
        job.condition = pick.choice(names.CONDITION)
        job.consent = pick.choice(Job.Consent.values[1:])
        job.has_mains = kind in ("amplifier", "instrument")
        job.verified_tries = pick.choice((3, 5, 5, 10))
        job.verified_failed = pick.randint(1, job.verified_tries)
    seen = Job.symptoms.through
    symptom_of = dict(Symptom.objects.values_list("name", "id"))
    links = []
    codes = Repair.objects.order_by("id").values_list("job_id", "fault__code")
    for job, code in dict(codes).items():
        symptom = symptom_of[FAULTS[code].symptom]
        links.append(seen(job_id=job, symptom_id=symptom))
    seen.objects.bulk_create(links)
    liquid = {job for job, code in codes if code.startswith("LIQ-")}
    swollen = {job for job, code in codes if code == "CHG-BAT-SWOLLEN"}
    for job in jobs:
        job.has_liquid = job.pk in liquid
        job.has_swollen_battery = job.pk in swollen
    told = (
        "came_by came_with condition consent has_mains verified_tries verified_failed"
        " has_liquid has_swollen_battery"
    ).split()
    # Row by row: one statement with a case for each of the jobs takes far longer.
    for job in jobs:
        job.save(update_fields=told)


def _say_more_of_customers(pick: random.Random) -> None:
    customers = list(Customer.objects.order_by("id"))
    for customer in customers:
        street, town = pick.choice(names.STREETS), pick.choice(names.TOWNS)
        customer.address = f"{pick.randint(1, 90)} {street}\n{town}"
        customer.reach = "email" if customer.email and pick.random() < 0.4 else "phone"
    for customer, company in zip(
        pick.sample(customers, len(names.COMPANIES)), names.COMPANIES, strict=True
    ):
        customer.company = company
    for customer in customers:
        customer.search = customer.searched_as()
    fields = ["address", "reach", "company", "search"]
    Customer.objects.bulk_update(customers, fields, batch_size=100)


def _say_more_of_devices(pick: random.Random) -> None:
    for model, boards in names.BOARDS.items():
        for device in Device.objects.filter(model__model=model).order_by("id"):
            device.board_revision = pick.choice(boards)
            device.save(update_fields=["board_revision"])


def _fill_shelf(
    pick: random.Random, parts: dict[str, Part], *, today: date, by
) -> None:
    """Who sent the past deliveries, and what lies on the shelf today."""
    suppliers = Supplier.objects.bulk_create(
        [Supplier(name=n) for n in names.SUPPLIERS]
    )
    for facts in PARTS.values():
        part, supplier = parts[facts.number], suppliers[facts.supplier]
        Delivery.objects.filter(part=part).update(supplier=supplier)
        for n in range(pick.choice((1, 1, 2))):
            receive(
                part,
                quantity=pick.randint(3, 8) * (5 if facts.cost < 1 else 1),
                unit_cost=facts.cost,
                on=today - timedelta(days=20 + 25 * n),
                by=by,
                supplier=supplier,
                lot=f"{facts.number[0]}{facts.supplier}-{DAYS // 75 + 2 - n:02d}11",
            )
