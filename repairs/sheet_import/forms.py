from django import forms
from django.core.exceptions import ValidationError

from repairs.bench.fields import FaultField, FixField
from repairs.faults import fix_types
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.sheet_import.decisions import (
    IGNORED,
    OUTCOMES,
    WITHOUT_CUSTOMER,
    WITHOUT_HANDOVER,
    WITHOUT_OUTCOME,
)
from repairs.sheet_import.sheet_columns import FIELDS
from repairs.sheet_import.sheet_file import ENCODINGS, SEPARATORS
from repairs.sheet_import.text_groups import TextGroup, nearest_entry
from repairs.sheet_import.written_values import DECIMALS, ORDERS, UNITS

MAX_BYTES = 4_000_000
MAX_ROWS = 5_000
"""In the browser; the command takes more."""
MAX_WORDS = 100
"""Different outcomes that are asked about; more are no outcomes."""
EXAMPLES = 3


def _choices(labels, blank):
    return [("", blank), *labels.items()]


class UploadForm(forms.Form):
    file = forms.FileField(
        label="List of past jobs",
        help_text="CSV, TSV or XLSX, up to 4 MB and 5,000 rows. For a larger list use"
        " the command import_sheet.",
        widget=forms.FileInput({"accept": ".csv,.tsv,.txt,.xlsx"}),
    )

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > MAX_BYTES:
            raise ValidationError(
                "The file has more than 4 MB. Use the command import_sheet.",
                code="size",
            )
        return file


class FileReadingForm(forms.Form):
    """How the file is read."""

    sheet = forms.ChoiceField(required=False)
    encoding = forms.ChoiceField(choices=list(ENCODINGS.items()), required=False)
    separator = forms.ChoiceField(
        choices=list(SEPARATORS.items()), required=False, label="Separated by"
    )
    header_line = forms.IntegerField(
        min_value=1,
        label="Row of the headers",
        widget=forms.NumberInput({"class": "w4"}),
    )

    def __init__(self, *args, table, **kwargs):
        super().__init__(*args, **kwargs)
        if table.sheets:
            self.fields["sheet"].choices = [(name, name) for name in table.sheets]
            del self.fields["encoding"], self.fields["separator"]
        else:
            del self.fields["sheet"]


class ColumnsForm(forms.Form):
    """The field of each column."""

    def __init__(self, *args, columns, decided, **kwargs):
        super().__init__(*args, **kwargs)
        self.headers = columns.names
        labels = {name: one.label for name, one in FIELDS.items()}
        choices = _choices(labels, "no field: keep as a note")
        choices.append((IGNORED, "ignore"))
        for number, header in enumerate(columns.names):
            cells = [str(cell) for cell in columns.frame[header] if cell != ""]
            examples = list(dict.fromkeys(cells))[:EXAMPLES]
            self.fields[f"column{number}"] = forms.ChoiceField(
                choices=choices,
                required=False,
                label=header,
                initial=decided.get(header, ""),
                help_text="For example: " + " · ".join(one[:40] for one in examples)
                if examples
                else "Empty",
            )

    @property
    def decided(self):
        return {
            header: self.cleaned_data[f"column{number}"]
            for number, header in enumerate(self.headers)
        }

    def clean(self):
        owners = {}
        for number in range(len(self.headers)):
            name = self.cleaned_data.get(f"column{number}")
            if not name or name == IGNORED:
                continue
            if name in owners:
                self.add_error(
                    f"column{number}",
                    f"“{self.headers[owners[name]]}” is {FIELDS[name].label}, too."
                    " Choose one of them.",
                )
            owners.setdefault(name, number)
        return self.cleaned_data


class ValuesForm(forms.Form):
    """How values are written, and what missing ones mean."""

    date_order = forms.ChoiceField(
        choices=_choices(ORDERS, "not decided"),
        required=False,
        label="Dates such as 06/11/24",
    )
    decimal = forms.ChoiceField(
        choices=_choices(DECIMALS, "not decided"),
        required=False,
        label="Decimal sign",
    )
    minutes_unit = forms.ChoiceField(
        choices=_choices(UNITS, "not decided"),
        required=False,
        label="Durations without a unit",
    )
    without_handover = forms.ChoiceField(
        choices=_choices(WITHOUT_HANDOVER, "not decided"),
        required=False,
        label="Jobs without a day of handover",
    )
    without_customer = forms.ChoiceField(
        choices=_choices(WITHOUT_CUSTOMER, "not decided"),
        required=False,
        label="Jobs without a customer",
    )
    without_outcome = forms.ChoiceField(
        choices=_choices(WITHOUT_OUTCOME, "not decided"),
        required=False,
        label="Jobs without an outcome",
    )
    default_kind = forms.CharField(
        max_length=40,
        label="Kind of device, where the list has none",
        widget=forms.TextInput({"class": "w12"}),
    )

    def __init__(self, *args, words, **kwargs):
        super().__init__(*args, **kwargs)
        self.words = list(words)[:MAX_WORDS]
        for number, word in enumerate(self.words):
            self.fields[f"word{number}"] = forms.ChoiceField(
                choices=_choices(OUTCOMES, "not decided"),
                required=False,
                label=f"“{word}”",
                initial=words[word],
            )

    @property
    def word_fields(self):
        return [self[f"word{number}"] for number in range(len(self.words))]

    @property
    def decided(self):
        values = dict(self.cleaned_data)
        outcomes = {
            word: values.pop(f"word{number}") for number, word in enumerate(self.words)
        }
        return values | {"outcomes": outcomes}


class GroupForm(forms.Form):
    """What one group of texts stands for: an entry of the fault book, or a new one."""

    label = forms.CharField(widget=forms.HiddenInput, strip=False)
    entry = forms.CharField(
        max_length=120,
        required=False,
        label="Entry of the fault book",
        widget=forms.TextInput({"class": "w20", "list": "entries"}),
    )
    fix_type = forms.ChoiceField(
        choices=fix_types.CHOICES, required=False, label="Type"
    )
    is_merged = forms.BooleanField(required=False, label="Merge")

    def __init__(self, *args, group: TextGroup, of, entries, **kwargs):
        initial = {
            "label": group.label,
            "entry": group.code if group.code in entries else group.name,
            "fix_type": group.fix_type,
        }
        super().__init__(*args, initial=initial, **kwargs)
        self.group = group
        self.entries = entries
        self.entry_name = entries.get(group.code, "")
        if of == "faults":
            del self.fields["fix_type"]

    @property
    def changed_group(self):
        """The group with what was entered."""
        text = self.cleaned_data["entry"].strip()
        group = self.group.changed(is_checked=True)
        if self.cleaned_data.get("fix_type"):
            group = group.changed(fix_type=self.cleaned_data["fix_type"])
        if text in (group.name, group.code) and text:
            return group
        if not text:
            return group.changed(code="", name="")
        if text.upper() in self.entries:
            return group.changed(code=text.upper(), name="")
        code = nearest_entry(text, self.entries, min_alike=100)
        return group.changed(code=code, name="" if code else text)


class CodingForm(forms.Form):
    """The fault and fix of the repairs that are ticked."""

    fault = FaultField(
        datalist="faults-options", label="Fault (code or words)", required=False
    )
    fix = FixField(
        datalist="fixes-options", label="Fix (code or words)", required=False
    )
    fix_type = forms.ChoiceField(
        choices=[("", "usual type of the fix"), *fix_types.CHOICES],
        required=False,
        label="Type",
    )
    outcome = forms.ChoiceField(choices=list(states.CLOSED_WITH.items()))

    def clean(self):
        fix = self.cleaned_data.get("fix")
        for name in ("fault", "fix"):
            is_missing = name not in self.errors and not self.cleaned_data.get(name)
            if self.cleaned_data.get("outcome") == states.FIXED and is_missing:
                self.add_error(name, f"Enter the {name}: the outcome is fixed.")
        if fix and not self.cleaned_data.get("fix_type"):
            self.cleaned_data["fix_type"] = fix.fix_type
        return self.cleaned_data


ENTRIES = {"faults": Fault, "fixes": Fix}
