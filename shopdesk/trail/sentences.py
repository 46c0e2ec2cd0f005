"""Entries of the trail in plain words.

An entry holds ids and bare values. Names are looked up when it is shown, all that one
page needs with one query for each kind of record.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import models
from django.urls import reverse

from shopdesk.fields import FixedDecimalField, MoneyField
from shopdesk.look.shop_formats import day, decimal, moment, phone, price
from shopdesk.recording.acting import WEB
from shopdesk.recording.models import CHANGES, Action, TrailEntry
from shopdesk.recording.recorded import Recorded
from shopdesk.staff.permissions import can_see_costs

FACTS = {
    "why": "reason",
    "file": "file",
    "rows": "rows",
    "count": "sessions",
    "keys": "with keys",
    "merged": "its number",
    "created_at": "created",
}
"""What the facts of events are called; a number of records has the name of its kind."""
SETTINGS = "shopdesk.shop"
ERASED = "The values were erased."


def recorded_model(kind: str) -> type[Recorded] | None:
    """Return the recorded model of this label, if there is one."""
    try:
        model = apps.get_model(kind)
    except (LookupError, ValueError):
        return None
    return model if issubclass(model, Recorded) else None


def describe(
    entries: Sequence[TrailEntry], *, shop, user, is_one_record: bool = False
) -> None:
    """Set on each entry what is shown of it: `who`, `about`, `about_url`, `lines`.

    In the history of one record, lines name only what belongs to it.
    """
    names = _names(entries)
    words = _Words(shop, names, can_see_costs(user, shop))
    for entry in entries:
        entry.who = _who(entry)
        entry.about = words.record(entry)
        entry.about_url = words.history_url(entry)
        entry.lines = list(words.lines(entry, is_named=not is_one_record))


def _who(entry: TrailEntry) -> str:
    if not entry.by_name:
        return entry.source
    if entry.source == WEB:
        return entry.by_name
    return f"{entry.by_name}, {entry.source}"


Names = dict[type[models.Model], dict[int, str]]


def _names(entries: Sequence[TrailEntry]) -> Names:
    """Return the names of all records that the entries mention, by kind and id."""
    wanted = defaultdict(set)
    for entry in entries:
        model = recorded_model(entry.kind)
        if model is None:
            continue
        wanted[model].add(entry.record)
        if parent := recorded_model(entry.parent_kind):
            wanted[parent].add(entry.parent)
        for name, pair in (entry.values or {}).items():
            related = _field(model, name)
            if pair and related is not None and related.is_relation:
                wanted[related.related_model].update(_ids(pair))
    found: Names = defaultdict(dict)
    for model, ids in wanted.items():
        rows = model._base_manager.filter(pk__in=ids - {None})
        if issubclass(model, Recorded):
            rows = rows.select_related(*model.label_relations)
        found[model] = {row.pk: str(row) for row in rows}
    return found


def _field(model: type[models.Model], name: str) -> models.Field | None:
    """Return the field; None if a later version of the program has it no more."""
    fields = [*model._meta.concrete_fields, *model._meta.many_to_many]
    return next((field for field in fields if field.name == name), None)


def _ids(pair: list[Any]) -> Iterator[int | None]:
    for value in pair:
        yield from value if isinstance(value, list) else [value]


class _Words:
    """Writes values as this shop writes them, and hides costs from who may not see."""

    def __init__(self, shop, names: Names, shows_costs: bool) -> None:
        self.shop = shop
        self.names = names
        self.shows_costs = shows_costs

    def record(self, entry: TrailEntry) -> str:
        """Return kind and name of the record, and of the one it belongs to."""
        model, parent = recorded_model(entry.kind), recorded_model(entry.parent_kind)
        if model is None:
            return ""
        text = self._kind_and_name(model, entry.record)
        if parent is None or parent._meta.label_lower == SETTINGS:
            return text
        of = self._name(parent, entry.parent)
        return text if of in text else f"{text} ({_kind(parent)} {of})"

    def history_url(self, entry: TrailEntry) -> str:
        """Return the address of the history that shows the entry, if there is one."""
        kind, pk = entry.kind, entry.record
        if entry.parent is not None:
            kind, pk = entry.parent_kind, entry.parent
        return reverse("trail:record", args=[kind, pk]) if kind else ""

    def _kind_and_name(self, model: type[Recorded], pk: int) -> str:
        name = self.names[model].get(pk) or str(pk)
        return name if name.startswith(_kind(model)) else f"{_kind(model)} {name}"

    def lines(self, entry: TrailEntry, *, is_named: bool) -> Iterator[str]:
        """Yield the sentences about one entry; unless it is named, what it is about."""
        action, label = entry.action, entry.get_action_display()
        model = recorded_model(entry.kind)
        if action not in CHANGES or model is None:
            yield self._event(label, entry.values or {})
            return
        is_change = action == Action.CHANGED
        if not is_named and entry.parent is not None:
            end = ":" if is_change else f" {label}"
            yield f"{self._kind_and_name(model, entry.record)}{end}"
        elif not is_change:
            yield label
        if entry.values is None:
            yield ERASED
            return
        fields = [*model._meta.concrete_fields, *model._meta.many_to_many]
        order = {field.name: rank for rank, field in enumerate(fields)}
        for name in sorted(entry.values, key=lambda name: order.get(name, len(order))):
            pair = entry.values[name]
            if is_change:
                yield self._change(model, name, pair)
            elif name != model.belongs_to and not (pair and False in pair):
                yield self._single(model, name, pair)

    def _event(self, label: str, facts: dict[str, Any]) -> str:
        written = []
        for name, value in facts.items():
            model = recorded_model(name)
            if isinstance(value, bool):
                written += [FACTS.get(name, name)] if value else []
            elif isinstance(value, int):
                plural = model._meta.verbose_name_plural if model else None
                written.append(f"{value:,} {plural or FACTS.get(name, name)}")
            else:
                written.append(f"{FACTS.get(name, name)} ‘{value}’")
        return f"{label}: {', '.join(written)}" if written else label

    def _change(self, model, name: str, pair: Any) -> str:
        """Say what became of one field of a record."""
        field = _field(model, name)
        label = _label(field, name)
        if self._is_hidden(model, name, pair):
            return f"{label} changed"
        if field is not None and field.many_to_many:
            return f"{label}: {self._links(field, *pair)}"
        old, new = (self._value(field, value) for value in pair)
        if old and new:
            return f"{label} changed from {old} to {new}"
        return f"{label} set to {new}" if new else f"{label} {old} removed"

    def _single(self, model, name: str, pair: Any) -> str:
        """Say what one field of a record that is new or gone holds or held."""
        field = _field(model, name)
        if self._is_hidden(model, name, pair):
            return f"{_label(field, name)}: not shown"
        values = [self._value(field, value) for value in pair]
        return f"{_label(field, name)}: {values[0] or values[1]}"

    def _is_hidden(self, model, name: str, pair: Any) -> bool:
        return pair is None or (name in model.costs and not self.shows_costs)

    def _links(self, field, removed: list[int], added: list[int]) -> str:
        parts = []
        for verb, ids in (("added", added), ("removed", removed)):
            if ids:
                names = ", ".join(self._name(field.related_model, pk) for pk in ids)
                parts.append(f"{verb} {names}")
        return "; ".join(parts)

    def _name(self, model, pk: int) -> str:
        return self.names[model].get(pk) or f"{model._meta.verbose_name} {pk}, deleted"

    def _value(self, field, value: Any) -> str:
        """Write one value; an empty one is an empty text, words are in quotes."""
        if value in (None, ""):
            return ""
        match field:
            case MoneyField():
                return price(Decimal(value), self.shop)
            case FixedDecimalField():
                return decimal(Decimal(value), self.shop)
            case models.DateTimeField():
                return moment(datetime.fromisoformat(value))
            case models.DateField():
                return day(date.fromisoformat(value))
            case models.BooleanField():
                return "yes" if value else "no"
            case models.ForeignKey():
                return f"‘{self._name(field.related_model, value)}’"
        if isinstance(value, int):
            return f"{value:,}"
        if field is not None and field.name == "phone":
            return f"‘{phone(value, self.shop)}’"
        choices = dict(field.flatchoices) if field is not None else {}
        return f"‘{choices.get(value, value)}’"


def _kind(model: type[models.Model]) -> str:
    return str(model._meta.verbose_name)


def _label(field: models.Field | None, name: str) -> str:
    label = str(field.verbose_name) if field is not None else name.replace("_", " ")
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]
