"""The fixed words of the papers that customers get, read from where they stand."""

import ast
import re

from django.utils.translation.template import templatize
from plain_files import ROOT

from billing.invoices.models import Invoice, Payment
from billing.quotes.models import Quote
from repairs.faults import declared
from repairs.jobs.models import Job
from shopdesk.shop import tax

STAYS_HERE = ("label.html", "report.html", "day_close/")
"""Papers that no customer gets: they speak as the screens do."""

PYTHON = ("shopdesk/printing.py", "shopdesk/templatetags/desk.py")

QUOTED = r"""u('(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*")"""
CALL = re.compile(rf"\bn?gettext\({QUOTED}(?:, {QUOTED}, count)?\)")

CHOSEN = [
    *Invoice.Kind.labels,
    *dict(Payment._meta.get_field("means").choices).values(),
    *Quote.How.labels,
    *Job.CameBy.labels,
    *Job.Consent.labels,
    *declared.LABELS.values(),
    *tax.LABELS.values(),
    *(one.reason for one in tax.UNSAID.values() if one.reason),
]
"""Words from a short list, which papers show by way of a variable."""


def papers():
    """Every template of a paper for customers, and every fragment it is made of."""
    templates = ROOT / "templates"
    look = "shopdesk/look/paper.html"
    ahead = [look]
    for path in sorted(templates.rglob("*.html")):
        name = str(path.relative_to(templates))
        is_paper = f'{{% extends "{look}" %}}' in path.read_text()
        if is_paper and not any(stays in name for stays in STAYS_HERE):
            ahead.append(name)
    seen = set()
    while ahead:
        name = ahead.pop()
        if name not in seen:
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
    for name in PYTHON:
        for node in ast.walk(ast.parse((ROOT / name).read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "gettext":
                found.setdefault((node.args[0].value, ""), name)
    for word in CHOSEN:
        found.setdefault((str(word), ""), "a short list")
    return found
