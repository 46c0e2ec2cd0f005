"""Jobs of the shop as records of the Open Repair Data Standard."""

from collections.abc import Iterator
from datetime import date

from babel.core import get_global

from repairs.faults.fix_types import STOPGAP
from repairs.jobs import states
from repairs.jobs.models import Job
from repairs.open_data import ords
from shopdesk.lookup import in_batches
from shopdesk.shop.models import Shop

# ISO 3166-3: codes of countries that are no more, which CLDR knows, too.
WITHDRAWN = frozenset({"BUR", "DDR", "FXX", "TMP", "YMD", "ZAR"})


def finished_jobs(*, since: date | None, until: date | None):
    """Return the jobs that were handed over in the period, with all that is shared."""
    jobs = Job.objects.filter(handed_over_on__isnull=False)
    if since:
        jobs = jobs.filter(handed_over_on__gte=since)
    if until:
        jobs = jobs.filter(handed_over_on__lte=until)
    return jobs.select_related("device__model").prefetch_related(
        "repairs__fault", "repairs__fix"
    )


def records(jobs, *, shop: Shop) -> Iterator[list[object]]:
    """Yield the record of each job, with the columns of the standard."""
    country = country_code(shop.country)
    for batch in in_batches(jobs):
        for job in batch:
            record = _record(job, shop=shop) | {"country": country}
            yield [record.get(column, "") for column in ords.COLUMNS]


def country_code(alpha_2: str) -> str:
    """Return the ISO 3166 code of three letters; empty if there is none."""
    for code, (other, *_) in get_global("territory_aliases").items():
        is_current = len(code) == 3 and code.isalpha() and code not in WITHDRAWN
        if is_current and other == alpha_2:
            return code
    return ""


def _record(job: Job, *, shop: Shop) -> dict[str, object]:
    model, repairs = job.device.model, list(job.repairs.all())
    fixed = [repair for repair in repairs if repair.outcome == states.FIXED]
    category = ords.category_of(model.kind)
    return {
        "id": f"job-{job.pk}",
        "data_provider": shop.name,
        # A shop is its own group.
        "group_identifier": shop.name,
        "partner_product_category": model.kind,
        "product_category": ords.CATEGORIES[category],
        "product_category_id": category,
        "brand": model.maker or ords.UNKNOWN_BRAND,
        "repair_status": ords.status_of(
            job.outcome,
            has_stopgap=any(repair.fix_type == STOPGAP for repair in fixed),
        ),
        "event_date": job.handed_over_on.isoformat(),
        "problem": ords.problem_of(
            (repair.fault.name, repair.fix.name if repair.fix else "")
            for repair in repairs
        ),
    }
