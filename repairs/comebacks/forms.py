"""Forms of the comeback reports: date, period, filters and drill-down."""

from datetime import date

from django import forms
from django.db.models import Q

from repairs.comebacks.drilldown import COMEBACK, IN_FOLLOW_UP
from repairs.comebacks.queries import latest_day
from repairs.comebacks.scope import FILTERS, NOT_ABOUT_PEOPLE, Scope
from repairs.customers.models import DeviceModel
from repairs.faults import fix_types
from shopdesk.fields import DayFormField
from shopdesk.staff.models import User

MAX_PERIOD = 730
MAX_ID = 2**31 - 1


def filter_field(label: str, *, unknown: str, help_text: str = "") -> forms.ChoiceField:
    """Return a field that selects one of the names on record; blank selects all."""
    return forms.ChoiceField(
        label=label,
        required=False,
        help_text=help_text,
        error_messages={"invalid_choice": unknown},
    )


class ScopeForm(forms.Form):
    """The date, the comeback period, and the filters."""

    as_of = DayFormField(
        label="Data as of",
        error_messages={
            "required": "Enter a date, such as 2026-03-31.",
            "invalid": "Enter the date as year-month-day, such as 2026-03-31.",
            "out_of_range": "Enter a date between 1990-01-01 and today.",
        },
    )
    within = forms.IntegerField(
        label="Comeback period (days)",
        min_value=1,
        max_value=MAX_PERIOD,
        error_messages={
            "required": f"Enter the days, from 1 to {MAX_PERIOD}.",
            "invalid": "Enter the days as a whole number, such as 90.",
            "min_value": "Enter at least 1 day.",
            "max_value": f"Enter at most {MAX_PERIOD} days.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "w4"}),
    )
    kind = filter_field("Device kind", unknown="No such device kind.")
    maker = filter_field("Maker", unknown="No such maker.")
    model = filter_field("Model", unknown="No such model.")
    by = filter_field(
        "Repaired by",
        unknown="No staff account with this name.",
        help_text=NOT_ABOUT_PEOPLE,
    )

    filters = tuple(FILTERS)

    def __init__(self, params, *, today: date, within: int):
        """`params` are those of the address, `today` and `within` its defaults."""
        self.today = today
        super().__init__(
            {
                "as_of": params.get("as_of", today.isoformat()),
                "within": params.get("within", str(within)),
                **{name: params.get(name, "") for name in self.filters},
            }
        )
        self._names = self._names_on_record() if self.filters else {}
        for name, names in self._names.items():
            field, typed = self.fields[name], self.data[name]
            field.choices = [("", "all"), *names.items()]
            if typed and typed not in names:  # stays in the field
                field.widget.choices = [*field.choices, (typed, typed)]

    @staticmethod
    def _names_on_record() -> dict[str, dict[str, str]]:
        """Return the choices of each filter with their labels."""
        models = DeviceModel.objects.order_by().values_list("kind", "maker", "model")
        columns = list(zip(*models, strict=True)) or [(), (), ()]
        names = {
            field: {name: name for name in sorted(set(column) - {""})}
            for field, column in zip(("kind", "maker", "model"), columns, strict=True)
        }
        staff = User.objects.order_by("name", "username")
        return {
            **names,
            "by": {user.username: user.name or user.username for user in staff},
        }

    def clean_as_of(self):
        as_of = self.cleaned_data["as_of"]
        if as_of > self.today and as_of > (latest := latest_day(self.today)):
            raise forms.ValidationError(
                f"This date is in the future. The latest date is {latest}."
            )
        return as_of

    @property
    def scope(self) -> Scope:
        """Return the scope that a valid form selects."""
        by = self.cleaned_data.get("by", "")
        by_name = self._names.get("by", {}).get(by, "")
        return Scope(**self.cleaned_data, by_name=by_name)

    @property
    def is_filtered(self) -> bool:
        """Whether the filters are shown open."""
        return any(self.data[name] for name in self.filters)


class PeriodForm(ScopeForm):
    """The date and the period; all repairs."""

    filters = ()
    kind = maker = model = by = None


class DrilldownForm(forms.Form):
    """Which repairs of a page are behind a figure; all if empty."""

    result = forms.ChoiceField(
        choices=[(COMEBACK, COMEBACK), (IN_FOLLOW_UP, IN_FOLLOW_UP)], required=False
    )
    min_days = forms.IntegerField(min_value=0, max_value=MAX_PERIOD, required=False)
    max_days = forms.IntegerField(min_value=0, max_value=MAX_PERIOD, required=False)
    since = DayFormField(required=False)
    """Only those in follow-up on this day."""
    fault = forms.IntegerField(min_value=1, max_value=MAX_ID, required=False)
    fix = forms.IntegerField(min_value=1, max_value=MAX_ID, required=False)
    here = forms.BooleanField(required=False)
    """Only comebacks that are still in the shop."""

    def params(self, *more: str) -> dict[str, str]:
        """Return the parameters of the address, with `more`, to use them for another
        date.
        """
        names = (*self.fields, *FILTERS, *more)
        return {name: self.data[name] for name in names if self.data.get(name)}

    @property
    def pairs(self) -> Q:
        """Return the fault and the fix as a condition on repairs or comebacks."""
        ids = {name: self.cleaned_data[name] for name in ("fault", "fix")}
        return Q(**{f"{name}_id": pk for name, pk in ids.items() if pk})

    def includes(self, days: int) -> bool:
        """Return whether a repair followed up for this many days is included."""
        low, high = self.cleaned_data["min_days"], self.cleaned_data["max_days"]
        return (low is None or days >= low) and (high is None or days <= high)


class BoardForm(forms.Form):
    """A board revision of a model."""

    revision = forms.CharField(max_length=40)


class FixTypeForm(forms.Form):
    """The new type of a fix: lasting or stopgap."""

    fix_type = forms.ChoiceField(choices=fix_types.CHOICES)
