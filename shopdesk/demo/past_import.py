"""The demo shop's past: imported like a history file, then completed."""

import random
from collections.abc import Callable
from datetime import date, timedelta

from django.db import transaction

from repairs.customers.models import Customer, Device
from repairs.history.actions import import_jobs
from repairs.history.issues import ImportIssues
from repairs.jobs.models import Job, Repair
from repairs.stock.actions import receive
from repairs.stock.models import Delivery, Part, Supplier
from shopdesk.demo.facts import KINDS, MODELS, PARTS, words
from shopdesk.demo.past import DAYS, SUPPLIERS, lot_prefix, past
from shopdesk.stamp import Stamp

JOB_DETAILS = """
    came_by accessories condition data_access verified_tries verified_failures
    has_mains_voltage has_liquid_damage has_swollen_battery
""".split()


@transaction.atomic
def import_past(
    *,
    today: date,
    seed: int,
    by,
    progress: Callable[[int], object] = lambda jobs: None,
) -> None:
    """Import the jobs of eighteen months up to yesterday, and fill the stock.

    `progress` is called with the number of jobs imported since its last call.
    """
    issues = ImportIssues()
    import_jobs(past(today=today, seed=seed), issues=issues, progress=progress)
    if issues:
        raise ValueError(f"The demo shop's past is refused: {issues.first(1)[0]}")
    pick = random.Random(seed + 1)
    _add_job_details(pick)
    _add_customer_details(pick)
    _add_board_revisions(random.Random(seed + 2))
    _fill_stock(pick, today=today, by=by)


def _add_job_details(pick: random.Random) -> None:
    jobs = list(Job.objects.select_related("device__model").order_by("id"))
    codes = Repair.objects.order_by("id").values_list("job_id", "fault__code")
    liquid = {job for job, code in codes if code.startswith("LIQ-")}
    swollen = {job for job, code in codes if code == "CHG-BAT-SWOLLEN"}
    conditions = words("condition")
    for job in jobs:
        kind = KINDS[job.device.model.kind]
        if pick.random() < 0.22:
            job.came_by = Job.CameBy.POST
        job.accessories = pick.choice(kind.accessories)
        job.condition = pick.choice(conditions)
        job.data_access = pick.choice(Job.DataAccess.values[1:])
        job.has_mains_voltage = kind.runs_on == "mains"
        job.verified_tries = pick.choice((3, 5, 5, 10))
        job.verified_failures = pick.randint(1, job.verified_tries)
        job.has_liquid_damage = job.pk in liquid
        job.has_swollen_battery = job.pk in swollen
        # Row by row: one statement with a CASE for each job takes far longer.
        job.save(update_fields=JOB_DETAILS)


def _add_customer_details(pick: random.Random) -> None:
    customers = list(Customer.objects.order_by("id"))
    streets, towns, companies = words("street"), words("town"), words("company")
    for customer in customers:
        street, town = pick.choice(streets), pick.choice(towns)
        customer.address = f"{pick.randint(1, 90)} {street}\n{town}"
        if customer.email and pick.random() < 0.4:
            customer.preferred_contact = Customer.Contact.EMAIL
    chosen = pick.sample(customers, len(companies))
    for customer, company in zip(chosen, companies, strict=True):
        customer.company = company
    for customer in customers:
        customer.search = customer.search_text()
    fields = ["address", "preferred_contact", "company", "search"]
    Customer.objects.bulk_update(customers, fields, batch_size=100)


def _add_board_revisions(pick: random.Random) -> None:
    for model in filter(lambda model: model.boards, MODELS.values()):
        for device in Device.objects.filter(model__model=model.model).order_by("id"):
            device.board_revision = pick.choice(model.boards)
            device.save(update_fields=["board_revision"])


def _fill_stock(pick: random.Random, *, today: date, by) -> None:
    """Name the supplier of each past delivery, and receive what is in stock today."""
    suppliers = {name: Supplier.objects.create(name=name) for name in SUPPLIERS}
    for part in Part.objects.order_by("id"):
        facts = PARTS[part.number]
        supplier = suppliers[facts.supplier]
        Delivery.objects.filter(part=part).update(supplier=supplier)
        for n in range(pick.choice((1, 1, 2))):
            receive(
                part,
                quantity=pick.randint(3, 8) * (5 if facts.cost < 1 else 1),
                unit_cost=facts.cost,
                on=today - timedelta(days=20 + 25 * n),
                stamp=Stamp.now(by),
                supplier=supplier.name,
                lot=f"{lot_prefix(part.number)}-{DAYS // 75 + 2 - n:02d}11",
            )
