"""What can be asked of the comeback reports."""

from datetime import date

from django import forms

from repairs.comebacks.drilldown import COMEBACK, IN_FOLLOW_UP
from repairs.comebacks.queries import latest_day
from repairs.comebacks.scope import NOT_ABOUT_PEOPLE, Scope
from repairs.customers.models import DeviceModel
from repairs.faults import fix_types
from shopdesk.fields import DayFormField
from shopdesk.staff.models import User

MAX_PERIOD = 730
MAX_NAME = 120
MAX_ID = 2**31 - 1
UNKNOWN = {
    "kind": "No such device kind.",
    "maker": "No such maker.",
    "model": "No such model.",
    "by": "No staff account with this name.",
}


class FilterField(forms.CharField):
    """One of the names on record, or none for all; what was typed is kept."""

    def __init__(self, **kwargs):
        super().__init__(
            required=False,
            max_length=MAX_NAME,
            widget=forms.Select,
            error_messages={"max_length": f"Enter at most {MAX_NAME} characters."},
            **kwargs,
        )


class ReportDateField(DayFormField):
    """A date of which something may be known."""

    def validate(self, value):
        try:
            super().validate(value)
        except forms.ValidationError as error:
            if error.code != "out_of_range":
                raise
            raise forms.ValidationError(
                "Enter a date between 1990-01-01 and today.", code="out_of_range"
            ) from None


class ScopeForm(forms.Form):
    """The date, the comeback period, and which repairs are counted."""

    as_of = ReportDateField(
        label="Data as of",
        error_messages={
            "required": "Enter a date, such as 2026-03-31.",
            "invalid": "Enter the date as year-month-day, such as 2026-03-31.",
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
    kind = FilterField(label="Device kind")
    maker = FilterField(label="Maker")
    model = FilterField(label="Model")
    by = FilterField(label="Repaired by", help_text=NOT_ABOUT_PEOPLE)

    FILTERS = ("kind", "maker", "model", "by")

    def __init__(self, params, *, today: date, within: int):
        """`params` are those of the address, `today` and `within` its defaults."""
        self.today = today
        filters = {name: params.get(name, "") for name in self.FILTERS}
        super().__init__(
            {
                "as_of": params.get("as_of", today.isoformat()),
                "within": params.get("within", str(within)),
                **filters,
            }
        )
        self._names = self._names_on_record() if self.FILTERS else {}
        for name, typed in filters.items():
            choices = [("", "all"), *self._names[name].items()]
            if typed and typed not in self._names[name]:
                choices.append((typed, typed[:MAX_NAME]))
            self.fields[name].widget.choices = choices

    @staticmethod
    def _names_on_record() -> dict[str, dict[str, str]]:
        """Return what can be chosen, and how it is shown."""
        models = DeviceModel.objects.order_by().values_list("kind", "maker", "model")
        columns = list(zip(*models, strict=True)) or [(), (), ()]
        names = {
            field: {name: name for name in sorted(set(column) - {""})}
            for field, column in zip(("kind", "maker", "model"), columns, strict=True)
        }
        staff = User.objects.order_by("name", "username")
        return {
            **names,
            "by": {one.username: one.name or one.username for one in staff},
        }

    def clean_as_of(self):
        as_of = self.cleaned_data["as_of"]
        if as_of > self.today and as_of > (latest := latest_day(self.today)):
            raise forms.ValidationError(
                f"This date is in the future. The latest date is {latest}."
            )
        return as_of

    def clean(self):
        for name in self.FILTERS:
            value = self.cleaned_data.get(name)
            if value and value not in self._names[name]:
                self.add_error(name, UNKNOWN[name])

    @property
    def scope(self) -> Scope:
        """What a valid form asks for."""
        by = self.cleaned_data.get("by", "")
        by_name = self._names.get("by", {}).get(by, "")
        return Scope(**self.cleaned_data, by_name=by_name)

    @property
    def is_filtered(self) -> bool:
        """Whether the filters are shown open."""
        return any(self.data[name] for name in self.FILTERS)


class PeriodForm(ScopeForm):
    """The date and the period, of all repairs."""

    FILTERS = ()
    kind = maker = model = by = None


class DrilldownForm(forms.Form):
    """Which of the repairs of a page are behind a figure; empty for all."""

    result = forms.ChoiceField(
        choices=[(COMEBACK, COMEBACK), (IN_FOLLOW_UP, IN_FOLLOW_UP)], required=False
    )
    min_days = forms.IntegerField(min_value=0, max_value=MAX_PERIOD, required=False)
    max_days = forms.IntegerField(min_value=0, max_value=MAX_PERIOD, required=False)
    since = DayFormField(required=False)
    """Were in follow-up on this day."""
    fault = forms.IntegerField(min_value=1, max_value=MAX_ID, required=False)
    fix = forms.IntegerField(min_value=1, max_value=MAX_ID, required=False)
    here = forms.BooleanField(required=False)
    """Comebacks that are still in the shop."""

    def params(self, *more: str) -> dict[str, str]:
        """Return what was asked, and `more`, to ask it again for another date."""
        names = (*self.fields, *ScopeForm.FILTERS, *more)
        return {name: self.data[name] for name in names if self.data.get(name)}

    def includes(self, row, *, as_of: date) -> bool:
        """Return whether a repair is one of those."""
        wanted = self.cleaned_data
        ends = row.job.device.out_of_use_on
        is_out_of_use = ends is not None and ends <= as_of
        return (
            (not wanted["result"] or row.result == wanted["result"])
            and not (wanted["result"] == IN_FOLLOW_UP and is_out_of_use)
            and (wanted["min_days"] is None or row.days >= wanted["min_days"])
            and (wanted["max_days"] is None or row.days <= wanted["max_days"])
            and (wanted["fault"] is None or row.repair.fault_id == wanted["fault"])
            and (wanted["fix"] is None or row.repair.fix_id == wanted["fix"])
        )


class BoardForm(forms.Form):
    """Which board revision of a model."""

    revision = forms.CharField(max_length=40)


class FixTypeForm(forms.Form):
    """Whether a fix is lasting or a stopgap from now on."""

    fix_type = forms.ChoiceField(choices=fix_types.CHOICES)
