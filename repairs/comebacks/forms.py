"""What one may ask of the comeback table."""

from datetime import date

from django import forms

from repairs.comebacks.asked import SAYS_LITTLE, Asked
from repairs.comebacks.counted.queries import latest_day
from repairs.customers.models import DeviceModel
from repairs.faults import declared
from shopdesk.fields import DayFormField
from shopdesk.staff.models import User

LONGEST_HORIZON = 730
LONGEST_NAME = 120


class Narrow(forms.CharField):
    """One of the names on record, or nothing for all; what was typed is kept."""

    def __init__(self, **kwargs):
        super().__init__(
            required=False,
            max_length=LONGEST_NAME,
            widget=forms.Select,
            error_messages={"max_length": "No name here is as long as this."},
            **kwargs,
        )


class PastDay(DayFormField):
    """A day of which something may be known."""

    def validate(self, value):
        try:
            super().validate(value)
        except forms.ValidationError as refusal:
            if refusal.code != "out_of_range":
                raise
            raise forms.ValidationError(
                "Give a day between 1990-01-01 and today.", code="out_of_range"
            ) from None


class AskForm(forms.Form):
    """As of which day, within how many days, and of which repairs."""

    as_of = PastDay(
        label="As known on",
        error_messages={
            "required": "Give a day, such as 2026-03-31.",
            "invalid": "Write the day as year-month-day, such as 2026-03-31.",
        },
    )
    within = forms.IntegerField(
        label="Back within days",
        min_value=1,
        max_value=LONGEST_HORIZON,
        error_messages={
            "required": f"Give the days, from 1 to {LONGEST_HORIZON}.",
            "invalid": "Write the days as a whole number, such as 90.",
            "min_value": "A comeback needs at least 1 day.",
            "max_value": f"No comeback is counted after {LONGEST_HORIZON} days.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "w4"}),
    )
    kind = Narrow(label="Only devices of kind")
    maker = Narrow(label="Only of maker")
    model = Narrow(label="Only of model")
    by = Narrow(label="Only repairs done by", help_text=SAYS_LITTLE)

    NARROWING = ("kind", "maker", "model", "by")

    def __init__(self, asked, *, today: date, within: int):
        """`asked` is what the address says; the rest is `today` and `within`."""
        self.today = today
        narrow = {name: asked.get(name, "") for name in self.NARROWING}
        super().__init__(
            {
                "as_of": asked.get("as_of", today.isoformat()),
                "within": asked.get("within", str(within)),
                **narrow,
            }
        )
        self._known = self._names_on_record()
        for name in self.NARROWING:
            known = self._known[name]
            choices = [("", "all"), *known.items()]
            typed = str(narrow[name])
            if typed and typed not in known:
                choices.append((typed, typed[:LONGEST_NAME]))
            self.fields[name].widget.choices = choices

    @staticmethod
    def _names_on_record() -> dict[str, dict[str, str]]:
        """What may be chosen, and how it is shown."""
        models = DeviceModel.objects.order_by().values_list("kind", "maker", "model")
        columns = list(zip(*models, strict=True)) or [(), (), ()]
        known = {
            field: {name: name for name in sorted(set(column) - {""})}
            for field, column in zip(("kind", "maker", "model"), columns, strict=True)
        }
        staff = User.objects.order_by("name", "username")
        called = {one.username: one.name or one.username for one in staff}
        return {**known, "by": called}

    def clean_as_of(self):
        as_of = self.cleaned_data["as_of"]
        if as_of > self.today and as_of > (latest := latest_day(self.today)):
            raise forms.ValidationError(
                f"{as_of} is still to come: nothing is known of it yet. The latest day"
                f" is {latest}."
            )
        return as_of

    def clean_kind(self):
        return self._on_record("kind", "No device of this kind has been here.")

    def clean_maker(self):
        return self._on_record("maker", "No device of this maker has been here.")

    def clean_model(self):
        return self._on_record("model", "No device of this model has been here.")

    def clean_by(self):
        return self._on_record("by", "Nobody here signs in by this name.")

    def _on_record(self, name: str, sentence: str) -> str:
        value = self.cleaned_data[name]
        if value and value not in self._known[name]:
            raise forms.ValidationError(sentence)
        return value

    @property
    def asked(self) -> Asked:
        """What was asked, once it is known to make sense."""
        by = self.cleaned_data["by"]
        return Asked(**self.cleaned_data, by_name=self._known["by"].get(by, ""))

    @property
    def is_narrowed(self) -> bool:
        """Whether the boxes that narrow should stand open."""
        return any(self.data[name] for name in self.NARROWING)


class DeclareForm(forms.Form):
    """What the fault book shall call a fix from now on."""

    declared = forms.ChoiceField(choices=declared.CHOICES)
