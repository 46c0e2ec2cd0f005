"""The forms of the counter: a device comes in, arrives, shows its code."""

from django import forms

from repairs.customers.fields import NormalizedCharField
from repairs.faults.cautions import OF_DEVICE
from repairs.jobs.models import Job
from shopdesk.fields import DayFormField, use_currency

MAX_FEE = 100_000
"""A higher diagnosis fee is a typing error."""


def _tries(label, min_value):
    attrs = {"inputmode": "numeric", "class": "w4", "autocomplete": "off"}
    return forms.IntegerField(
        label=label,
        min_value=min_value,
        max_value=999,
        required=False,
        widget=forms.TextInput(attrs),
    )


def _line(label, help_text):
    return NormalizedCharField(
        label=label, help_text=help_text, max_length=300, required=False
    )


class ArriveForm(forms.ModelForm):
    """The condition of an expected device when it is unpacked."""

    complaint = NormalizedCharField(
        label="Complaint",
        help_text="In the customer’s words.",
        missing="Enter the complaint.",
        max_length=2000,
        keep_lines=True,
    )
    occurs_when = _line("When it happens", "Always, when warm, after an hour …")
    condition = _line("Condition", "Scratches, cracks, missing screws.")
    accessories = _line("Accessories", "Charger, case, cards.")
    due_on = DayFormField(label="Due date", required=False)
    place = NormalizedCharField(
        label="Storage place",
        help_text="Where the device stands: B3, shelf 2.",
        max_length=40,
        required=False,
    )

    class Meta:
        model = Job
        fields = ["complaint", "occurs_when", "condition", "accessories", *OF_DEVICE]
        fields += ["due_on", "place"]

    def safety_checks(self):
        """Each question about safety, with the caution that a tick calls for."""
        return [(self[name], [caution]) for name, caution in OF_DEVICE.items()]


class JobForm(ArriveForm):
    """The complaint and what was agreed."""

    counter_failures = _tries("Failures", 0)
    counter_tries = _tries("of tries at the counter", 1)
    access_code = forms.CharField(
        label="Device passcode",
        help_text="Only if the repair needs it. Stored encrypted; who sees it is"
        " recorded. Deleted at handover.",
        max_length=100,
        required=False,
        strip=False,
        widget=forms.TextInput(
            {"class": "code w12", "spellcheck": "false", "autocomplete": "off"}
        ),
    )
    is_expected = forms.BooleanField(label="Expected by post", required=False)

    class Meta(ArriveForm.Meta):
        fields = [*ArriveForm.Meta.fields, "counter_failures", "counter_tries"]
        fields += ["came_by", "data_access", "agreed_diagnosis_fee"]
        labels = {"came_by": "Received"}

    def __init__(self, *args, places, **kwargs):
        super().__init__(*args, **kwargs)
        use_currency(self, places)
        self.fields["agreed_diagnosis_fee"].max_value = MAX_FEE

    def clean(self):
        facts = super().clean()
        self._clean_tries(facts.get("counter_failures"), facts.get("counter_tries"))
        if facts.get("access_code") and facts.get("data_access") != Job.DataAccess.YES:
            self.add_error(
                "access_code",
                "A passcode is stored only if the customer allows access to the data.",
            )
        if facts.get("is_expected"):
            facts["came_by"] = Job.CameBy.POST
        return facts

    def _clean_tries(self, failures, tries):
        """Both or neither, and no more failures than tries."""
        if {"counter_failures", "counter_tries"} & set(self.errors):
            return
        if (failures is None) != (tries is None):
            missing = "counter_tries" if tries is None else "counter_failures"
            self.add_error(missing, "Enter both: failures and tries.")
        elif failures is not None and failures > tries:
            self.add_error("counter_failures", "Failures cannot exceed tries.")


class CodeForm(forms.Form):
    reason = NormalizedCharField(
        label="Reason",
        missing="Enter a reason.",
        max_length=300,
        attrs={"autofocus": True},
    )


class BookingStateForm(forms.Form):
    """What was chosen on the booking screen."""

    key = forms.UUIDField(required=False)
    step = forms.CharField(required=False, max_length=40)
    query = NormalizedCharField(
        label="Name, phone, email, company or serial",
        help_text="Part of it is enough.",
        max_length=200,
        required=False,
        attrs={"type": "search", "class": "w20"},
    )
    customer = forms.CharField(required=False, max_length=20)
    device = forms.CharField(required=False, max_length=20)
    against = forms.CharField(required=False, max_length=20)
    is_another = forms.BooleanField(required=False)
    is_another_device = forms.BooleanField(required=False)
