"""What the counter asks when a device comes in, all on one screen."""

from django import forms

from repairs.customers.fields import TidyField
from repairs.customers.forms import TEXT
from repairs.faults.cautions import OF_DEVICE
from repairs.jobs.models import Job
from shopdesk.fields import DayFormField

TRIES = {"max_value": 999, "required": False}
HIGHEST_FEE = 100_000
"""More than this for finding a fault is a slip of the finger."""


def _tries(label, least):
    box = forms.TextInput(attrs={"inputmode": "numeric", "class": "w4", **TEXT})
    return forms.IntegerField(label=label, min_value=least, widget=box, **TRIES)


class ArriveForm(forms.ModelForm):
    """What is seen when an announced device is unpacked."""

    complaint = TidyField(
        label="Complaint",
        help_text="In the customer’s words.",
        error_messages={"required": "Write down what the customer says is wrong."},
        max_length=2000,
        keep_lines=True,
    )
    shows_when = TidyField(
        label="When it shows",
        help_text="Always, when warm, after an hour …",
        max_length=300,
        required=False,
        widget=forms.TextInput(attrs=TEXT),
    )
    condition = TidyField(
        label="Condition",
        help_text="Scratches, cracks, missing screws.",
        max_length=300,
        required=False,
        widget=forms.TextInput(attrs=TEXT),
    )
    came_with = TidyField(
        label="Came with",
        help_text="Charger, case, cards.",
        max_length=300,
        required=False,
        widget=forms.TextInput(attrs=TEXT),
    )
    promised_on = DayFormField(label="Promised for", required=False)

    class Meta:
        model = Job
        fields = (
            "complaint",
            "shows_when",
            "condition",
            "came_with",
            "has_swollen_battery",
            "has_liquid",
            "has_mains",
            "promised_on",
        )

    def safety_checks(self):
        """Each question about safety, with the caution that a tick calls for."""
        return [(self[name], [caution]) for name, caution in OF_DEVICE.items()]


class JobForm(ArriveForm):
    """The complaint and what is agreed."""

    counter_failed = _tries("Failed", 0)
    counter_tries = _tries("of tries here", 1)
    access_code = forms.CharField(
        label="Code that unlocks it",
        help_text="Only where the work needs it. It is sealed, shown once with a"
        " reason, and gone when the device is handed back.",
        max_length=100,
        required=False,
        strip=False,
        widget=forms.TextInput(
            attrs={"class": "code w12", "spellcheck": "false", **TEXT}
        ),
    )
    is_expected = forms.BooleanField(
        label="Announced by post, not here yet",
        required=False,
    )

    class Meta(ArriveForm.Meta):
        fields = (
            *ArriveForm.Meta.fields,
            "counter_failed",
            "counter_tries",
            "came_by",
            "consent",
            "fee_agreed",
        )
        labels = {"came_by": "Came"}

    def __init__(self, *args, places=2, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["fee_agreed"].places = places
        self.fields["fee_agreed"].max_value = HIGHEST_FEE

    def clean(self):
        facts = super().clean()
        self._clean_tries(facts.get("counter_failed"), facts.get("counter_tries"))
        if facts.get("access_code") and facts.get("consent") != Job.Consent.YES:
            self.add_error(
                "access_code",
                "A code is kept only where the customer lets us look at the data.",
            )
        if facts.get("is_expected"):
            facts["came_by"] = Job.CameBy.POST
        return facts

    def _clean_tries(self, failed, tries):
        """Failed k of m tries: both or neither, and no more than were made."""
        if {"counter_failed", "counter_tries"} & set(self.errors):
            return
        if (failed is None) != (tries is None):
            missing = "counter_tries" if tries is None else "counter_failed"
            self.add_error(missing, "Say both: how often it failed, and of how many.")
        elif failed is not None and failed > tries:
            self.add_error(
                "counter_failed", "It can’t fail more often than it was tried."
            )


class CodeForm(forms.Form):
    why = TidyField(
        label="What you need it for",
        error_messages={"required": "Say what you need the code for."},
        max_length=300,
        widget=forms.TextInput(attrs={**TEXT, "autofocus": True}),
    )


class Asked(forms.Form):
    """What was chosen on the screen so far, beside what was typed."""

    key = forms.UUIDField(required=False)
    step = forms.CharField(required=False, max_length=40)
    who = TidyField(
        label="Name, phone, email, company or serial",
        help_text="A part of it is enough.",
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={**TEXT, "type": "search", "class": "w20"}),
    )
    customer = forms.CharField(required=False, max_length=20)
    device = forms.CharField(required=False, max_length=20)
    against = forms.CharField(required=False, max_length=20)
    is_another = forms.BooleanField(required=False, label="It is someone else")
    is_another_device = forms.BooleanField(required=False, label="It is another device")


class LabelForm(forms.Form):
    """How wide and high the roll is, in millimetres."""

    SIZES = ("62x29", "89x36")
    size = forms.ChoiceField(choices=[(size, size) for size in SIZES])
