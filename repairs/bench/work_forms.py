"""What is typed while the device is worked on: readings, minutes, parts."""

from django import forms

from repairs.bench.fields import PartField
from repairs.bench.forms import count
from repairs.jobs import bench_notation
from repairs.jobs.bench_notation import NotationError
from repairs.jobs.models import Reading, UnstockedPart
from shopdesk.lookup import normalize_search


class ReadingForm(forms.Form):
    """A reading and what is expected, in the notation of the bench."""

    test_point = forms.CharField(
        max_length=120,
        label="Test point",
        widget=forms.TextInput({"list": "test-points", "class": "w20"}),
    )
    value = forms.CharField(
        max_length=40,
        label="Reading",
        help_text="For example: 4.98V, 4k7, 0.45 V diode, >1M, OL.",
        widget=forms.TextInput({"class": "w8", "autocomplete": "off"}),
    )
    expected = forms.CharField(
        max_length=60,
        required=False,
        label="Expected",
        help_text="For example: 3v3 ±5%, 19.2–19.6V, >1M, none. Blank: usual range.",
        widget=forms.TextInput({"class": "w12", "autocomplete": "off"}),
    )
    stage = forms.ChoiceField(choices=Reading.Stage.choices, label="Measured")

    def __init__(self, *args, usual, stage, previous, **kwargs):
        """`usual` are the usual readings of this model by test point, `previous` those
        of the earlier job of a return."""
        super().__init__(*args, **kwargs)
        self.usual, self.previous = usual, previous
        self.initial.setdefault("stage", stage)

    def clean(self):
        data = super().clean()
        if self.errors:
            return data
        point, typed = data["test_point"], data["expected"].strip()
        usual = self.usual.get(normalize_search(point), {})
        units = {unit for unit, *_ in usual}
        try:
            expected = bench_notation.parse_expected(typed)
        except NotationError as error:
            return self.add_error("expected", str(error))
        unit = expected.unit or (next(iter(units)) if len(units) == 1 else "")
        try:
            measured = bench_notation.parse_reading(data["value"], unit=unit)
        except NotationError as error:
            return self.add_error("value", str(error))
        if not typed and units and measured.unit not in units:
            known = " or ".join(sorted(units))
            return self.add_error(
                "value",
                f"Readings of {point} on this model are in {known}. Check the unit, or"
                " enter what you expect.",
            )
        if not typed and measured.kind in usual:
            expected = usual[measured.kind].expected
        if not typed:
            expected = self._previously_expected(point, measured) or expected
        try:
            expected = bench_notation.with_unit_of(expected, measured)
            stored = bench_notation.to_stored(measured, expected)
        except NotationError as error:
            return self.add_error("expected" if typed else "value", str(error))
        return stored._asdict() | {
            "test_point": point,
            "stage": data["stage"],
            "relation": measured.relation,
            "at_hertz": measured.at_hertz,
            "is_diode": measured.is_diode,
            "expects_open": expected.is_open,
        }

    def _previously_expected(self, point, measured):
        previous = self.previous.get(normalize_search(point))
        if previous is None or previous.measured.kind != measured.kind:
            return None
        return previous.expected if previous.expected_text else None


class RepairChoiceForm(forms.Form):
    """Something booked on one repair of the job; asked only where there are several."""

    def __init__(self, *args, repairs, optional=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.repairs = {repair.pk: repair for repair in repairs}
        if len(self.repairs) > 1:
            whole = [("", "whole job")] if optional else []
            codes = [(pk, one.fault.code) for pk, one in self.repairs.items()]
            self.fields["repair"] = forms.TypedChoiceField(
                choices=whole + codes,
                coerce=lambda pk: self.repairs[int(pk)],
                empty_value=None,
                label="For",
                required=not optional,
            )

    def clean(self):
        data = super().clean()
        if "repair" not in self.fields:
            data["repair"] = next(iter(self.repairs.values()), None)
        return data


class MinutesForm(RepairChoiceForm):
    minutes = count(1440, min_value=1, label="Minutes")
    note = forms.CharField(max_length=200, required=False, label="Note")
    is_billable = forms.BooleanField(required=False, initial=True, label="Billable")


class TimerForm(RepairChoiceForm):
    pass


class UnstockedPartForm(RepairChoiceForm):
    name = forms.CharField(
        max_length=120,
        label="Part (number or description)",
        widget=forms.TextInput({"class": "w20"}),
    )
    source = forms.ChoiceField(choices=UnstockedPart.Source.choices, label="Source")
    quantity = count(999, min_value=1, initial=1, label="Quantity")
    note = forms.CharField(max_length=200, required=False, label="Note")

    def clean(self):
        data = super().clean()
        if not self.repairs:
            self.add_error(None, "Add a fault first. Parts are booked to a repair.")
        return data


class JobPartForm(RepairChoiceForm):
    part = PartField(datalist="parts-options", label="Part (type or scan)")
    quantity = count(999, min_value=1, initial=1, label="Quantity")
    delivery = forms.CharField(
        max_length=40,
        required=False,
        label="Lot",
        help_text="Blank: oldest first.",
        widget=forms.TextInput({"class": "code w12", "autocomplete": "off"}),
    )

    def clean(self):
        data = super().clean()
        part, lot = data.get("part"), data.get("delivery")
        data["delivery"] = None
        if part and lot:
            data["delivery"] = self._delivery(part, lot)
        if not self.repairs:
            self.add_error(None, "Add a fault first. Parts are booked to a repair.")
        return data

    def _delivery(self, part, lot):
        there = part.deliveries.filter(remaining__gt=0)
        found = list(there.filter(lot__iexact=lot)[:1])
        if found:
            return found[0]
        blocked = part.deliveries.filter(lot__iexact=lot, blocked_on__isnull=False)
        if delivery := blocked.last():
            self.add_error(
                "delivery", f"Lot {delivery} is blocked: {delivery.blocked_reason}"
            )
            return None
        lots = ", ".join(filter(None, there.values_list("lot", flat=True)[:6]))
        self.add_error(
            "delivery",
            f"{part.number} has no lot “{lot}” in stock."
            + (f" In stock: {lots}." if lots else ""),
        )
        return None
