"""A shop of many years, written straight into the tables: what lists and searches meet.

`history.py` writes the past jobs; this adds the rest of a shop: 40 customers for each
110 jobs, open jobs at every step of the bench, an invoice with its payment and a quote
for each past job, parts, and staff. Documents are 200 bytes, since no list reads them.
"""

import hashlib
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection

from billing.invoices.models import Invoice, Payment
from billing.quotes import states as quote_states
from billing.quotes.models import Quote
from repairs.faults.models import Symptom
from repairs.jobs import states
from repairs.jobs.models import Job, JobTransition, Labour, Reading, Repair
from repairs.stock.models import Delivery, Part, StockMovement
from shopdesk.lookup import normalize_search, renew_search_indexes
from shopdesk.shop.models import Shop
from shopdesk.staff.models import User
from tests.benchmarks.history import AS_OF, bulk, fill

PAIRS, OPEN, PARTS = 500, 300, 600
PASSWORD = "quiet lamp over nine tins"
STAFF = (("ferris", "owner"), ("perrin", "counter"), ("wren", "bench"))
NOW = datetime(AS_OF.year, AS_OF.month, AS_OF.day, 9, tzinfo=UTC)
PAPER = b"%PDF" + b"x" * 196
FIRST = (
    "Ada Bram Cora Dunstan Elsie Fenn Greta Hollis Ida Jory Keziah Lorne Mabel Nye"
    " Odette Perran Quill Rosa Silas Tamsin Ulric Vesta Wilf Xenia Yorick Zelda"
).split()
BEGIN = (
    "Ash Birch Cald Dray Elder Fen Gorse Hazel Ing Juni Kest Lark Moor Nettle".split()
)
END = (
    "bourne brook combe dale field ford grove hurst ley mere ston wick yard by".split()
)


def name_of(n: int) -> str:
    """Return an invented name; about 5,000 differ, so some customers share one."""
    last = BEGIN[n // 26 % 14] + END[n // 364 % 14]
    return f"{FIRST[n % 26]} {last}"


def fill_shop(jobs: int) -> None:
    """Write a shop with so many past jobs."""

    customers = max(1, jobs * 4 // 11)
    bulk(Symptom, [{"name": f"Symptom {n}"} for n in range(20)])
    fill(jobs, pairs=PAIRS, customers=[_customer(n) for n in range(customers)])
    _staff()
    _parts()
    _open_jobs(jobs, customers)
    _papers(jobs, customers)
    _settle()


def _customer(n):

    name, phone = name_of(n), f"+4930{n:07}"
    email = f"{name.lower().replace(' ', '.')}{n}@mail.example"
    search = " | ".join(normalize_search(text) for text in (name, "", email, phone))
    return {"name": name, "email": email, "phone": phone, "search": search}


def _staff():

    Shop.objects.update_or_create(
        pk=1,
        defaults={
            "name": "Bench & Co",
            "owners_need_second_factor": False,
            "set_up_on": AS_OF,
        },
    )
    for name, role in STAFF:
        User.objects.create_user(name, PASSWORD, name=name.title(), role=role)


def _parts():

    kinds = ("socket, 5 pin", "capacitor", "charging chip", "ribbon cable")
    part = [
        {
            "number": f"P-{n:05}",
            "name": kinds[n % 4],
            "search": f"p-{n:05} | {kinds[n % 4]}",
            "on_hand": 1000,
        }
        for n in range(PARTS)
    ]
    bulk(Part, part)
    arrived = {"quantity": 1000, "remaining": 1000, "unit_cost": Decimal("2.5")}
    arrived |= {"received_on": AS_OF - timedelta(days=200)}
    bulk(
        Delivery,
        [{"part_id": n + 1, "lot": f"L{n:06}"} | arrived for n in range(PARTS)],
    )
    moved = {"kind": "received", "quantity": 1000, "moved_at": NOW}
    rows = [{"part_id": n + 1, "delivery_id": n + 1} | moved for n in range(PARTS)]
    bulk(StockMovement, rows)


STEPS = ("booked_in", "diagnosed", "quoted", "approved", "approved", "repaired")


def _open_jobs(jobs, customers):
    """The jobs in the house: every sixth is a return, those beyond diagnosis have a
    fault with its fix, and those at work have minutes and readings."""

    at = {name: getattr(states, name.upper()) for name in STEPS}
    state = [at[STEPS[n % len(STEPS)]] for n in range(OPEN)]
    bulk(
        Job,
        [
            {
                "number": f"26-{n + 1:05}",
                "key": UUID(int=10**9 + n),
                "device_id": n * 7 % (jobs - jobs // 10) + 1,
                "customer_id": (n * 7) % customers + 1,
                "state": state[n],
                "complaint": "Goes off by itself when the lid is moved.",
                "booked_in_on": AS_OF - timedelta(days=n % 12),
                "due_on": AS_OF + timedelta(days=n % 15 - 2),
            }
            for n in range(OPEN)
        ],
        first=jobs + 1,
    )
    moved = {"from_state": "", "to_state": at["booked_in"], "by_id": 2, "made_at": NOW}
    bulk(JobTransition, [{"job_id": jobs + 1 + n} | moved for n in range(OPEN)])
    diagnosed = [n for n in range(OPEN) if state[n] != at["booked_in"]]
    bulk(
        Repair,
        [
            {"job_id": jobs + 1 + n, "fault_id": n % 100 + 1, "fix_id": n % 5 + 1}
            for n in diagnosed
        ],
        first=jobs + 1,
    )
    work = [n for n in diagnosed if state[n] in (at["approved"], at["repaired"])]
    hand = {"by_id": 3, "minutes": 15, "booked_at": NOW}
    bulk(Labour, [{"job_id": jobs + 1 + n} | hand for n in [*work, *work]])
    read = {"by_id": 3, "read_at": NOW, "value": Decimal("4.9"), "unit": "V"}
    read |= {"test_point": "C104", "low": Decimal("4.8"), "high": Decimal("5.2")}
    bulk(Reading, [{"job_id": jobs + 1 + n} | read for n in [*work, *work, *work]])


def _papers(jobs, customers):

    sha = hashlib.sha256(PAPER).hexdigest()
    paper = {"currency": "EUR", "pdf": PAPER, "pdf_sha256": sha}
    past = Job.objects.filter(pk__lte=jobs).order_by("handed_over_on", "pk")
    past = list(past.values_list("pk", "customer_id", "handed_over_on"))
    invoice = paper | {
        "buyer_country": "DE",
        "seller_name": "Bench & Co",
        "seller_country": "DE",
        "net": Decimal(100),
        "tax": Decimal(0),
        "gross": Decimal(100),
        "due_on": AS_OF,
    }
    bulk(
        Invoice,
        (
            invoice
            | {
                "series": f"INV{day:%y}",
                "number": n,
                "job_id": job,
                "customer_id": customer,
                "buyer_name": name_of(customer - 1),
                "issued_on": day,
                "supplied_on": day,
            }
            for n, (job, customer, day) in enumerate(past, start=1)
        ),
    )
    paid = {
        "amount": Decimal(100),
        "currency": "EUR",
        "means": "card",
        "taken_by_id": 2,
    }
    bulk(
        Payment,
        (
            paid
            | {
                "job_id": job,
                "invoice_id": n,
                "key": UUID(int=10**10 + n),
                "paid_on": day,
                "booked_on": day,
                "taken_at": NOW,
            }
            for n, (job, _, day) in enumerate(past, start=1)
            if n % 100
        ),
    )
    quote = paper | {
        "version": 1,
        "state": quote_states.DECLINED,
        "sent_at": NOW,
        "valid_until": AS_OF,
        "answered_at": NOW,
        "answered_by": "invented",
        "answered_how": "phone",
    }
    bulk(Quote, (quote | {"job_id": job} for job, _, _ in past))


def _settle():
    """Set the sequences, and collect what the planner of the database knows."""

    with connection.cursor() as cursor:
        reset = connection.ops.sequence_reset_sql(no_style(), apps.get_models())
        for statement in reset:
            cursor.execute(statement)
        cursor.execute("ANALYZE")
    renew_search_indexes()  # as every night
