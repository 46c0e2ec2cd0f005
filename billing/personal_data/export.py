"""All that the shop holds about one customer, as a ZIP file.

`data.json` has every row with its fields by name, `documents/` every stored file,
`signatures/` the drawn ones, and `index.html` says what is there.
"""

import json
from typing import IO, Any
from zipfile import ZIP_DEFLATED, ZipFile

from django.core.files.temp import NamedTemporaryFile
from django.db import models
from django.db.models import Q
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.text import slugify
from django.utils.translation import gettext_lazy

from billing.personal_data.inventory import INVENTORY, PersonalRows, keys_of
from billing.personal_data.record_names import RECORDS
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.papers.render import document_language
from shopdesk.recording.canonical import to_json
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.recording.recorded import Recorded
from shopdesk.recording.writing import record_event
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

ENDINGS = (
    *((b"%PDF", "pdf"), (b"<?xml", "xml"), (b"\x89PNG", "png")),
    (b"\xff\xd8\xff", "jpg"),
)
INK = ("ink", "signature")
"""Fields that hold the path of a drawn signature."""
BATCH = 20
"""Rows in memory at once: each may hold a photo."""
HELD = {kind.model for kind in INVENTORY}


def export_customer(customer: Customer, *, stamp: Stamp) -> IO[bytes]:
    """Return the ZIP file, open for reading, and record that it was made.

    It is a temporary file, which is deleted when it is closed.
    """
    output = NamedTemporaryFile()
    with ZipFile(output, "w", ZIP_DEFLATED) as archive:
        # Data for programs is in English, whoever asks for it.
        with translation.override(None):
            rows = {h.label: _rows(h, customer, archive) for h in INVENTORY}
            trail = list(_trail(customer))
        counts = [(RECORDS[h.model], len(rows[h.label])) for h in INVENTORY]
        counts.append((gettext_lazy("changes in the audit trail"), len(trail)))
        rows["changes in the audit trail"] = trail
        record_event(Action.DOWNLOADED, customer, by=stamp.by, file=file_name(customer))
        facts = {
            "customer": customer,
            "made_at": stamp.at,
            "counts": [(label, count) for label, count in counts if count],
            "files": sorted(archive.namelist()),
        }
        with document_language(Shop.current()):
            index = render_to_string("billing/personal_data/export_index.html", facts)
        archive.writestr("index.html", index)
        data = {"made_at": to_json(stamp.at), "customer": customer.pk, "records": rows}
        archive.writestr("data.json", json.dumps(data, ensure_ascii=False, indent=1))
    output.seek(0)
    return output


def file_name(customer: Customer) -> str:
    """Return the name of the file; it holds no name of a person."""
    return f"customer-{customer.pk}.zip"


def _rows(kind: PersonalRows, customer: Customer, archive: ZipFile) -> list[dict]:
    """Return the rows; what is binary goes into the archive and is named in the row."""
    costs = getattr(kind.model, "costs", frozenset())
    left_out = kind.not_exported | costs
    fields = [f for f in kind.model._meta.concrete_fields if f.name not in left_out]
    names = [f.name for f in fields if f.is_relation and f.related_model not in HELD]
    found = kind.rows(customer).select_related(*names)
    return [_row(row, fields, archive) for row in found.iterator(chunk_size=BATCH)]


def _row(row: models.Model, fields: list, archive: ZipFile) -> dict[str, Any]:
    values = {}
    for field in fields:
        value = getattr(row, field.attname)
        if field.is_relation and field.related_model not in HELD:
            # Names of staff, faults, parts; of what is another row here, its number.
            value = value and str(getattr(row, field.name))
        elif isinstance(field, models.BinaryField) and value is not None:
            value = _file(row, field.name, bytes(value), archive)
        elif field.name in INK and value:
            name = f"signatures/{row._meta.model_name}-{row.pk}.svg"
            drawn = {"ink": value, "who": ""}
            svg = render_to_string("billing/personal_data/signature.svg", drawn)
            archive.writestr(name, svg)
        values[field.name] = to_json(value)
    if isinstance(row, Job):
        # The device may have another owner now, whose data it is not.
        values["device_model"] = str(row.device.model)
        values["symptoms"] = [str(one) for one in row.symptoms.all()]
    return values


def _file(row: models.Model, field: str, content: bytes, archive: ZipFile) -> str:
    """Add a file; return its name."""
    own = getattr(row, "name", "")
    if own:
        stem, _, ending = own.rpartition(".")
        name = f"{slugify(stem) or field}.{slugify(ending)}"
    else:
        found = (end for start, end in ENDINGS if content.startswith(start))
        name = f"{field}.{next(found, 'bin')}"
    name = f"documents/{slugify(row._meta.verbose_name)}-{row.pk}-{name}"
    archive.writestr(name, content)
    return name


def _trail(customer: Customer):
    """Yield the entries about all these records, without what repairs cost the shop."""
    by_kind: dict[str, list[int]] = {}
    for kind, pk in keys_of(customer):
        by_kind.setdefault(kind, []).append(pk)
    wanted = Q(pk__in=[])
    for kind, pks in by_kind.items():
        wanted |= Q(kind=kind, record__in=pks)
    for entry in TrailEntry.objects.filter(wanted).order_by("id"):
        yield {
            "at": to_json(entry.at),
            "by": entry.by_name or entry.source,
            "action": entry.get_action_display(),
            "kind": entry.kind,
            "record": entry.record,
            "values": _without_costs(entry),
        }


def _without_costs(entry: TrailEntry) -> dict[str, Any] | None:
    costs = next(
        (
            model.costs
            for model in HELD
            if issubclass(model, Recorded) and model._meta.label_lower == entry.kind
        ),
        frozenset(),
    )
    values = entry.values
    return values and {n: pair for n, pair in values.items() if n not in costs}
