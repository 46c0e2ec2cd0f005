"""The fixed words of all that customers get, read from where they stand.

Papers, what is drafted for them, letters, and the page behind a customer's link.
"""

import ast
import re
from pathlib import Path

from django.utils.translation.template import templatize

from billing.changes.models import ChangeAnswer
from billing.customer_page import queries as where
from billing.invoices.models import Invoice, Payment
from billing.pricing import track_record_words as known
from billing.quotes.models import Quote
from repairs.faults import cautions, fix_types
from repairs.jobs import states as job_states
from repairs.jobs.models import Job
from shopdesk.shop import tax
from shopdesk.shop.models import Shop

ROOT = Path(__file__).parent.parent.parent
STAYS_HERE = (
    *("label.html", "order_list.html", "report.html", "day_close/"),
    "_for_staff.html",
)
"""What no customer gets: it speaks as the screens do."""

CUSTOMERS_PAGE = "shopdesk/look/customer.html"
LOOKS = ("shopdesk/look/paper.html", CUSTOMERS_PAGE)
FIELD = "shopdesk/look/field.html"

QUOTED = r"""u('(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*")"""
CALL = re.compile(rf"\bn?gettext\({QUOTED}(?:, {QUOTED}, count)?\)")

CHOSEN = [
    *Invoice.Kind.labels,
    *dict(Payment._meta.get_field("means").choices).values(),
    *Quote.How.labels,
    *ChangeAnswer.Decision.labels,
    *Job.CameBy.labels,
    *Job.DataAccess.labels,
    *job_states.JOB_OUTCOMES.values(),
    *where.STATUS.values(),
    *(where.READY_TO_SHIP, where.WARRANTY_REPAIR),
    *where.OUTCOMES.values(),
    *where.WAITING.values(),
    known.NEVER,
    *fix_types.LABELS.values(),
    *tax.LABELS.values(),
    *(one.reason for one in tax.DEFAULT_TAX.values() if one.reason),
    cautions.FOOT,
    cautions.BATTERY_IN_PARCEL,
    cautions.BATTERY_REMOVED,
    *(
        text
        for caution in cautions.OF_DEVICE.values()
        for text in (caution.title, caution.level, caution.text)
    ),
]
"""Words from a short list, which customers get by way of a variable."""

BEGUN_WITH = [
    Shop._meta.get_field(name).default
    for name in ("slip_text", "warranty_text", "reminder_text")
]
"""Words of the shop's own, for as long as it has not put others in their place."""


def papers():
    """Every template of what customers get, and every fragment it is made of."""
    templates = ROOT / "templates"
    ahead = [*LOOKS, FIELD]
    ahead += [str(path.relative_to(templates)) for path in templates.rglob("*.txt")]
    for path in sorted(templates.rglob("*.html")):
        name = str(path.relative_to(templates))
        source = path.read_text()
        if any(f'{{% extends "{look}" %}}' in source for look in LOOKS):
            ahead.append(name)
    seen = set()
    while ahead:
        name = ahead.pop()
        if name not in seen and not any(stays in name for stays in STAYS_HERE):
            seen.add(name)
            yield name
            source = (templates / name).read_text()
            ahead += re.findall(r'{%\s*include\s+"([^"]+)"', source)


def words_in(source):
    """(one, many) of each text that a template wants translated; many may be empty."""
    for one, many in CALL.findall(templatize(source)):
        yield ast.literal_eval(one), ast.literal_eval(many or "''")


def words():
    """All that a language of papers must have, with where it stands."""
    found = {}
    for name in papers():
        for pair in words_in((ROOT / "templates" / name).read_text()):
            found.setdefault(pair, name)
    for word in [*CHOSEN, *BEGUN_WITH]:
        found.setdefault((str(word), ""), "a short list")
    return found
