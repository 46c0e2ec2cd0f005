"""Records whose every change is in the trail.

A model gets `Recorded` as a base, and its query set `RecordedQuerySet`. `save`,
`update`, `bulk_update`, `delete`, cascades and changes of many-to-many fields write
their entries by themselves; `bulk_create` does not, so an import records one event.
Deletions and many-to-many fields are noticed in `shopdesk.recording.signals`.
"""

from collections.abc import Iterable
from typing import Any

from django.db import models, router, transaction

from shopdesk.recording.canonical import to_json
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.recording.writing import NONE, Key, new_entry, write

BATCH = 500
"""Rows read at once after an update: a statement takes a limited number of ids."""
Values = dict[str, Any]
"""Recorded fields of one record by name, each as the trail has it."""


class RecordedQuerySet(models.QuerySet):
    def update(self, **values):
        """Update the rows, and write an entry for each that this changes."""
        fields = _named(self.model.recorded_fields(), values)
        if not fields:
            return super().update(**values)
        self._for_write = True
        with transaction.atomic(using=self.db, savepoint=False):
            before = _read(_locked(self.order_by()), fields)
            count = super().update(**values)
            rows, pks = self.model._base_manager.using(self.db), list(before)
            for start in range(0, len(pks), BATCH):
                batch = rows.filter(pk__in=pks[start : start + BATCH])
                after = _read(batch, fields)
                changes = {pk: _changes(before[pk], after[pk]) for pk in after}
                write(changed_entries(self.model, changes))
        return count

    update.alters_data = True


class Recorded(models.Model):
    """A record whose changes are in the trail: who, when, old value, new value."""

    unrecorded: frozenset[str] = frozenset()
    """Fields left out, since they follow from others or from rows of their own."""
    secret: frozenset[str] = frozenset()
    """Fields of which only the fact that they changed is recorded."""
    costs: frozenset[str] = frozenset()
    """Fields that say what something cost the shop, which not everyone may see."""
    belongs_to: str | Key = ""
    """The record whose history shows these changes: the way to it, or its key."""

    label_relations: tuple[str, ...] = ()
    """The relations that `str()` of a record reads."""

    objects = RecordedQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, *args, force_insert=False, using=None, update_fields=None, **kwargs):
        """Save, and write an entry if this changes anything that is recorded.

        The old values are read from the database, since those once loaded may be out of
        date.
        """
        using = using or router.db_for_write(type(self), instance=self)
        kwargs |= {"force_insert": force_insert, "using": using}
        kwargs |= {"update_fields": update_fields}
        fields = self.recorded_fields()
        if update_fields is not None:
            fields = _named(fields, update_fields)
        elif self.get_deferred_fields():
            fields = [field for field in fields if field.attname in self.__dict__]
        if not fields:
            return super().save(*args, **kwargs)
        with transaction.atomic(using=using, savepoint=False):
            before = None
            if self.pk is not None and not force_insert:
                before = _read(self._row(using, lock=True), fields).get(self.pk)
            super().save(*args, **kwargs)
            after = self.recorded_values(fields)
            if after is None:
                after = _read(self._row(using), fields)[self.pk]
            if before is None:
                self.write_entry(Action.CREATED, _changes({}, after))
            elif changes := _changes(before, after):
                self.write_entry(Action.CHANGED, changes)

    def _row(self, using: str, *, lock: bool = False) -> models.QuerySet:
        row = type(self)._base_manager.using(using).filter(pk=self.pk)
        return _locked(row) if lock else row

    @classmethod
    def recorded_fields(cls) -> list[models.Field]:
        """Return the fields whose changes are recorded."""
        return [
            field
            for field in cls._meta.concrete_fields
            if not field.primary_key and field.name not in cls.unrecorded
        ]

    def recorded_values(self, fields: Iterable[models.Field]) -> Values | None:
        """Return the values of this instance; None if the database computes any."""
        values = {field: self.__dict__.get(field.attname) for field in fields}
        if any(hasattr(value, "resolve_expression") for value in values.values()):
            return None
        return {
            field.name: to_json(field.to_python(value))
            for field, value in values.items()
        }

    def parent_key(self) -> Key:
        """Return the record whose history shows the changes of this one, if any."""
        if not self.belongs_to or not isinstance(self.belongs_to, str):
            return self.belongs_to or NONE
        *way, last = self.belongs_to.split("__")
        holder = self
        for name in way:
            holder = getattr(holder, name)
        field = holder._meta.get_field(last)
        return field.related_model._meta.label_lower, getattr(holder, field.attname)

    def write_entry(self, action: Action, details: dict[str, Any]) -> None:
        """Add an entry about this record to the trail."""
        key, parent = (self._meta.label_lower, self.pk), self.parent_key()
        details = _without_secrets(type(self), details)
        write([new_entry(action, key=key, parent=parent, details=details)])


def changed_entries(
    model: type[Recorded], changes: dict[int, dict[str, Any]]
) -> list[TrailEntry]:
    """Return an entry for each record of which anything changed, not saved yet."""
    changes = {pk: details for pk, details in changes.items() if details}
    parents = _parents(model, list(changes))
    return [
        new_entry(
            Action.CHANGED,
            key=(model._meta.label_lower, pk),
            parent=parents.get(pk, NONE),
            details=_without_secrets(model, details),
        )
        for pk, details in changes.items()
    ]


def _named(fields: list[models.Field], names: Iterable[str]) -> list[models.Field]:
    """Return those of `fields` that are among `names`."""
    names = set(names)
    return [field for field in fields if {field.name, field.attname} & names]


def _locked(rows: models.QuerySet) -> models.QuerySet:
    """Lock the rows, so that no one changes them between reading and writing.

    A query that joins tables cannot be locked in PostgreSQL if it has outer joins.
    """
    query = rows.query
    is_plain = not (query.distinct or query.group_by or query.combinator)
    if is_plain and sum(1 for count in query.alias_refcount.values() if count) <= 1:
        return rows.select_for_update(no_key=True)
    return rows


def _read(rows: models.QuerySet, fields: list[models.Field]) -> dict[Any, Values]:
    """Return the stored values of each row, by primary key."""
    names = [field.name for field in fields]
    found = rows.values_list("pk", *(field.attname for field in fields))
    return {
        pk: dict(zip(names, map(to_json, values), strict=True)) for pk, *values in found
    }


def _changes(before: Values, after: Values) -> dict[str, Any]:
    """Return old and new value of each field that differs; of a new record, those set.

    `before` or `after` is empty for a record that is new or gone.
    """
    pairs = {n: [before.get(n), after.get(n)] for n in after or before}
    if before and after:
        return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}
    return {name: pair for name, pair in pairs.items() if set(pair) - {None, ""}}


def _without_secrets(model: type[Recorded], details: dict[str, Any]) -> dict[str, Any]:
    """Replace the values of secret fields and of files by None."""
    return {
        name: None if _is_secret(model, name) else pair
        for name, pair in details.items()
    }


def _is_secret(model: type[Recorded], name: str) -> bool:
    field = model._meta.get_field(name)
    return name in model.secret or isinstance(field, models.BinaryField)


def _parents(model: type[Recorded], pks: list[int]) -> dict[int, Key]:
    """Return the key of the parent of each of these records."""
    if not model.belongs_to or not pks:
        return {}
    if not isinstance(model.belongs_to, str):
        return dict.fromkeys(pks, model.belongs_to)
    parent = model
    for name in model.belongs_to.split("__"):
        parent = parent._meta.get_field(name).related_model
    rows = model._base_manager.filter(pk__in=pks)
    found = rows.values_list("pk", f"{model.belongs_to}_id")
    return {pk: (parent._meta.label_lower, key) for pk, key in found}
