"""The tables of a backup, and their values in a form that both databases share."""

from base64 import b64decode
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from django.apps.registry import Apps
from django.core.management.color import no_style
from django.db import connections, models
from django.db.models.sql import InsertQuery

from shopdesk.recording.canonical import to_json

APPS = ("shopdesk", "repairs", "billing")
# Marks of change are made by triggers, and must differ after a restore. Sessions,
# requests and sent forms concern the browsers of the last days.
LEFT_OUT = {
    "repairs_changemark",
    "shopdesk_requestcount",
    "shopdesk_sentform",
    "shopdesk_session",
}
BATCH = 500
BATCH_OF_FILES = 20
"""Rows with files are read and written by fewer, so that memory stays flat."""


def batch_of(model: type[models.Model]) -> int:
    """Return how many rows of the model are held in memory at once."""
    has_files = any(isinstance(f, models.BinaryField) for f in _fields(model))
    return BATCH_OF_FILES if has_files else BATCH


def stored_models(apps: Apps) -> list[type[models.Model]]:
    """Return the models whose rows are in a backup, ordered by table."""
    found = [
        model
        for app in APPS
        for model in apps.get_app_config(app).get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy
    ]
    chosen = [model for model in found if model._meta.db_table not in LEFT_OUT]
    return sorted(chosen, key=lambda model: model._meta.db_table)


def columns(model: type[models.Model]) -> list[str]:
    return [field.attname for field in _fields(model)]


def read(model: type[models.Model], *, using: str) -> Iterator[list[Any]]:
    """Yield the rows by primary key, each value as JSON can hold it."""
    rows = model._base_manager.using(using).order_by("pk")
    for row in rows.values_list(*columns(model)).iterator(chunk_size=batch_of(model)):
        yield [to_json(value) for value in row]


def insert(
    model: type[models.Model],
    rows: Iterable[list[Any]],
    names: list[str],
    *,
    using: str,
) -> Iterator[int]:
    """Insert rows as they are; yield how many after each batch."""
    by_name = {field.attname: field for field in _fields(model)}
    fields = [by_name[name] for name in names]
    readers = [_reader(field) for field in fields]
    rows = iter(rows)
    while batch := list(islice(rows, batch_of(model))):
        objects = []
        for row in batch:
            record = model()
            for field, read_value, value in zip(fields, readers, row, strict=True):
                setattr(
                    record, field.attname, None if value is None else read_value(value)
                )
            objects.append(record)
        size = connections[using].ops.bulk_batch_size(fields, objects)
        for start in range(0, len(objects), size):
            # Raw: `auto_now` fields keep their values.
            query = InsertQuery(model)
            query.insert_values(fields, objects[start : start + size], raw=True)
            query.get_compiler(using=using).execute_sql()
        yield len(batch)


def set_sequences(found: list[type[models.Model]], *, using: str) -> None:
    """Let new rows get numbers after the highest one in each table."""
    connection = connections[using]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), found):
            cursor.execute(statement)


def _fields(model: type[models.Model]) -> list[models.Field]:
    return [field for field in model._meta.concrete_fields if not field.generated]


def _reader(field: models.Field) -> Any:
    """Return the function that makes a value of the field from that of `to_json`."""
    while isinstance(field, models.ForeignKey):
        field = field.target_field
    if isinstance(field, models.BinaryField):
        return b64decode
    if isinstance(field, models.JSONField):
        return lambda value: value
    return field.to_python
