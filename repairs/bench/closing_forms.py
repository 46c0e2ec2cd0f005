"""What is typed when the work is done: parts, final test, outcome."""

from datetime import timedelta
from decimal import Decimal
from typing import NamedTuple

from django import forms

from repairs.bench.forms import MAX_HOURS, MAX_TRIES, count, line, text
from repairs.comebacks.standing import standing
from repairs.faults import fix_types
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from repairs.stock.models import Part
from shopdesk.fields import DayFormField, ExactFormField

MAX_LIFE = 1000
"""Days or weeks that a stopgap may be expected to last."""


class PartRow(NamedTuple):
    """A part of a repair: how many are booked on it, and how many more are planned: by
    a reservation, or since its fix usually takes them."""

    repair: Repair
    part: Part
    booked: int
    planned: int

    @property
    def name(self) -> str:
        return f"used-{self.repair.pk}-{self.part.pk}"

    @property
    def likely(self) -> int:
        """How many were used as far as is known: what is booked or can be booked."""
        if self.booked:
            return self.booked
        return self.planned if self.part.on_hand >= self.planned else 0

    @property
    def text(self) -> str:
        texts = [f"{self.booked} booked" if self.booked else ""]
        texts.append(f"{self.planned} planned" if self.planned else "")
        place = f" in {self.part.bin}" if self.part.bin else ""
        texts.append(f"{self.part.on_hand} in stock{place}")
        return ", ".join(filter(None, texts))


class CompleteRepairForm(forms.Form):
    """How many of each part were used: of those booked, and of the usual ones."""

    def __init__(self, *args, rows, **kwargs):
        super().__init__(*args, **kwargs)
        self.rows = list(rows)
        many = len({row.repair.pk for row in self.rows}) > 1
        for row in self.rows:
            part, fault = row.part, f"{row.repair.fault.code}: " if many else ""
            self.fields[row.name] = count(
                999,
                min_value=0,
                # What the page did not ask stays as it is.
                required=self.add_prefix(row.name) in self.data,
                initial=row.likely,
                label=f"{fault}{part.number} {part.name}",
                help_text=row.text,
                error_messages={"required": "Enter 0 if it was not used."},
            )

    def clean(self):
        used = [(row, self.cleaned_data.get(row.name)) for row in self.rows]
        return {"used": [(r.repair, r.part, n) for r, n in used if n is not None]}


class FinalTestForm(forms.Form):
    """Tries or hours; `counted` comes from the button that counts clean tries."""

    tries = count(MAX_TRIES, min_value=1, required=False, label="Tries")
    hours = ExactFormField(
        places=1,
        min_value=Decimal("0.1"),
        max_value=MAX_HOURS,
        required=False,
        label="or hours",
        widget=forms.TextInput({"class": "w4"}),
    )
    failed = count(MAX_TRIES, min_value=0, initial=0, label="Failures")
    note = forms.CharField(max_length=300, required=False, label="Test conditions")
    reproduces = forms.BooleanField(
        required=False, label="Same conditions as when it failed at the bench"
    )
    counted = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def clean(self):
        data = self.cleaned_data
        if data.get("reproduces") and not data.get("note"):
            self.add_error("note", "Enter the conditions: warm, moved, under load …")
        tries, hours, failed = (data.get(name) for name in ("tries", "hours", "failed"))
        if "tries" in self.errors or "hours" in self.errors:
            return
        if (tries is None) == (hours is None):
            self.add_error("tries", "Enter the tries, or the hours of a soak test.")
        elif hours is not None:
            data["tries"] = 0
        elif failed is not None and failed > tries:
            self.add_error("failed", f"Enter at most {tries}, the number of tries.")


class TriesRequiredForm(forms.Form):
    """The owner's number of passes in place of the calculated one."""

    tries = count(MAX_TRIES, min_value=1, label="Tries required")
    why = forms.CharField(
        max_length=300, label="Reason", widget=forms.TextInput({"class": "w20"})
    )


class NotRepairedForm(forms.Form):
    """A fault, or a whole job, that is not put right."""

    outcome = forms.ChoiceField(
        choices=[(key, states.OUTCOMES[key]) for key in states.NOT_REPAIRED],
        label="Outcome",
    )
    why = forms.CharField(max_length=500, label="Reason", widget=forms.TextInput)


class JobOutcomeForm(forms.Form):
    """What is said of the whole job when it is closed."""

    why = forms.CharField(
        max_length=500,
        required=False,
        label="For the job history",
        help_text="Required if nothing was fixed.",
    )
    old_parts = forms.ChoiceField(
        choices=Job.OldParts.choices, required=False, label="Replaced parts"
    )


class CloseForm(forms.Form):
    """What came of one repair; of a stopgap also how long it is expected to last."""

    outcome = forms.ChoiceField(choices=list(states.OUTCOMES.items()), label="Outcome")
    fix_type = forms.ChoiceField(
        choices=fix_types.CHOICES,
        label="Type",
        error_messages={"required": "Select the type: lasting or stopgap."},
    )
    no_part_needed = forms.BooleanField(required=False, label="No parts needed")
    life = count(
        MAX_LIFE,
        min_value=1,
        label="Expected to last",
        error_messages={"required": "Enter how long the stopgap is expected to last."},
    )
    life_unit = forms.TypedChoiceField(
        choices=[(1, "days"), (7, "weeks")], coerce=int, label="Unit"
    )
    ask_on = DayFormField(
        label="Ask how it holds on",
        help_text="Today reminds you of it.",
        error_messages={"required": "Enter the day to ask the customer how it holds."},
    )
    cause = line(max_length=300, label="Cause: what failed and why")
    recurs_if = line(max_length=300, label="What would bring it back")
    customer_note = text(
        max_length=1000,
        label="Note for the customer",
        help_text="Printed on the warranty certificate.",
    )
    note = text(
        max_length=4000,
        label="Note for the shop",
        help_text="For the next repair. Never printed.",
    )

    def __init__(self, *args, repair, on, defaults=None, verdicts=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.repair, self.on = repair, on
        if self.is_bound and not self._is_stopgap():
            for name in ("life", "life_unit", "ask_on"):
                self.fields[name].required = False
        usual = repair.fix.fix_type if repair.fix else ""
        if repair.fix and verdicts:
            found = standing(verdicts, repair.fault_id, repair.fix)
            usual = found.for_customer
            if found.mismatch:
                self.fields["fix_type"].help_text = f"{found.text}.".capitalize()
        days = repair.expected_days
        self.initial = {
            "outcome": repair.outcome or states.FIXED,
            "fix_type": repair.fix_type or usual,
            "no_part_needed": repair.no_part_needed,
            "cause": repair.cause,
            "recurs_if": repair.recurs_if,
            "life": repair.expected_weeks or days,
            "life_unit": 7 if repair.expected_weeks else 1,
            "ask_on": repair.ask_on,
            "customer_note": repair.customer_note,
            "note": repair.note,
        } | self.initial
        if defaults:
            self._fill_in(defaults)

    def _fill_in(self, defaults):
        """Offer what is usual where nothing is recorded yet."""
        first = self.initial
        first["cause"] = first["cause"] or defaults.cause
        first["recurs_if"] = first["recurs_if"] or defaults.recurs_if
        if defaults.days:
            self.fields["life"].help_text = (
                f"Half of the {defaults.comebacks} comebacks came within"
                f" {defaults.days} days."
            )
            if not first["life"]:
                first["life"] = defaults.days
                first["ask_on"] = self.on + timedelta(days=defaults.days)

    def clean(self):
        data = super().clean()
        days, unit = data.pop("life", None), data.pop("life_unit", None) or 1
        if data.get("outcome") in states.NOT_REPAIRED:
            data["fix_type"] = ""
        asked = data.get("ask_on")
        if not self._is_stopgap():
            days = data["ask_on"] = None
        elif asked is not None and asked <= self.on:
            self.add_error("ask_on", "Enter a day after today.")
        return data | {"expected_days": days and days * unit}

    def _is_stopgap(self):
        """Whether what was sent says so."""
        sent = (self["outcome"].value(), self["fix_type"].value())
        return sent == (states.FIXED, fix_types.STOPGAP)
