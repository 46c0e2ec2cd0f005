"""What must be true of any shop at any time, whatever happened to its server."""

from collections import Counter, defaultdict
from collections.abc import Iterator

from django.db import connection
from django.db.models import Count, F, Sum

from billing.invoices.models import MOVED, Invoice, Payment, Receipt
from repairs.jobs import states
from repairs.jobs.models import AccessCode, Job, JobTransition, PartUsed
from repairs.jobs.workflow import ALLOWED_TRANSITIONS
from repairs.stock.models import StockMovement
from shopdesk.keeping import nightly
from shopdesk.recording import chain
from shopdesk.shop.models import Series


def wrong() -> Iterator[str]:
    """Yield a sentence for everything that is wrong with the database."""
    yield from nightly.problems()
    yield from _links_to_nothing()
    yield from wrong_trail()
    yield from wrong_numbers()
    yield from wrong_jobs()
    yield from wrong_parts()


def _links_to_nothing():
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA foreign_key_check")
            yield from (f"a row points nowhere: {row}" for row in cursor.fetchall())


def wrong_trail() -> Iterator[str]:
    chain.seal()
    found = chain.verify()
    if found.wrong or found.unsealed:
        yield found.wrong or f"{found.unsealed} entries of the trail are not sealed"


def wrong_numbers() -> Iterator[str]:
    """Numbers are 1, 2, 3 … in each series; the dates of invoices never go back."""
    found = defaultdict(list)
    for name, number in Invoice.objects.values_list("series", "number"):
        found[name].append(number)
    for name, number in Receipt.objects.values_list("series", "number"):
        found[f"receipt 20{name[1:]}"].append(number)
    for year, _, number in (
        number.partition("-") for number in Job.objects.values_list("number", flat=True)
    ):
        if year.isdigit():
            found[f"job 20{year}"].append(int(number))
    last = dict(Series.objects.values_list("name", "last"))
    for name in found.keys() | last.keys():
        numbers = sorted(found[name])
        if numbers != list(range(1, last.get(name, 0) + 1)):
            yield f"{name} ends at {last.get(name)}, but has {numbers}"
    for name in found:
        in_order = Invoice.objects.filter(series=name).order_by("number")
        days = list(in_order.values_list("issued_on", flat=True))
        if days != sorted(days):
            yield f"the dates of {name} go back: {days}"


def wrong_jobs() -> Iterator[str]:
    """A job's steps lead to its state; what is closed has an outcome; codes leave."""
    now = {}
    for job, old, new in JobTransition.objects.order_by("id").values_list(
        "job", "from_state", "to_state"
    ):
        if old != now.get(job, old):
            yield f"job {job} went from {old}, but was {now[job]}"
        if old and new not in ALLOWED_TRANSITIONS[old]:
            yield f"job {job} went from {old} to {new}"
        now[job] = new
    for job in Job.objects.filter(pk__in=now):
        if job.state != now[job.pk]:
            yield f"job {job.number} is {job.state}, its steps lead to {now[job.pk]}"
    ended = (states.READY, states.HANDED_OVER)
    for job in Job.objects.filter(state__in=ended, outcome=""):
        yield f"job {job.number} is closed without outcome"
    for job in Job.objects.exclude(state__in=ended).exclude(outcome=""):
        yield f"job {job.number} is open and has an outcome"
    open_now = Job.objects.open().order_by().values("device").annotate(n=Count("id"))
    for row in open_now.filter(n__gt=1):
        yield f"device {row['device']} is in {row['n']} open jobs"
    for code in AccessCode.objects.filter(job__state=states.HANDED_OVER):
        yield f"the access code of {code.job} is still here"


def wrong_parts() -> Iterator[str]:
    """Each part used on a job left the stock once; deposits move without a rest."""
    used, moved = Counter(), Counter()
    for part, n in (
        PartUsed.objects.order_by().values_list("part").annotate(n=Sum("quantity"))
    ):
        used[part] = n
    kinds = StockMovement.Kind
    left = StockMovement.objects.filter(kind__in=(kinds.USED, kinds.PUT_BACK))
    for part, n in left.order_by().values_list("part").annotate(n=Sum("quantity")):
        moved[part] = -n
    if used != moved:
        yield f"parts used are {dict(used)}, the stock lost {dict(moved)}"
    for row in (
        Payment.objects.filter(means=MOVED)
        .order_by()
        .values("job")
        .annotate(n=Sum(F("amount")))
        .exclude(n=0)
    ):
        yield f"deposits of job {row['job']} moved with a rest of {row['n']}"
