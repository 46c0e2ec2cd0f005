"""What the counter asks when a device comes in, all on one screen."""

from django import forms

from repairs.customers.fields import TidyField
from repairs.customers.forms import TEXT
from repairs.jobs.models import Job
from shopdesk.fields import DayFormField

TRIES = {"max_value": 999, "required": False}


def _tries(label, least):
    box = forms.TextInput(attrs={"inputmode": "numeric", "class": "w4", **TEXT})
    return forms.IntegerField(label=label, min_value=least, widget=box, **TRIES)


class JobForm(forms.ModelForm):
    """The complaint and what is agreed."""

    complaint = TidyField(
        label="Complaint",
        help_text="In the customer’s words.",
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
    counter_failed = _tries("Failed", 0)
    counter_tries = _tries("of tries here", 1)
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

    class Meta:
        model = Job
        fields = (
            "complaint",
            "shows_when",
            "counter_failed",
            "counter_tries",
            "condition",
            "came_with",
            "came_by",
            "has_swollen_battery",
            "has_liquid",
            "has_mains",
            "consent",
            "fee_agreed",
            "promised_on",
        )
        labels = {
            "came_by": "Came",
            "fee_agreed": "Fee agreed for finding the fault",
            "has_swollen_battery": "Swollen battery",
            "has_liquid": "Liquid got in",
            "has_mains": "Mains inside",
            "consent": "The data on it",
        }

    def __init__(self, *args, places=2, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["fee_agreed"].places = places
        self.fields["fee_agreed"].max_value = 100_000

    def clean(self):
        facts = super().clean()
        failed, tries = facts.get("counter_failed"), facts.get("counter_tries")
        if (failed is None) != (tries is None) and not {
            "counter_failed",
            "counter_tries",
        } & set(self.errors):
            missing = "counter_tries" if tries is None else "counter_failed"
            self.add_error(missing, "Say both: how often it failed, and of how many.")
        elif failed is not None and tries is not None and failed > tries:
            self.add_error(
                "counter_failed", "It can’t fail more often than it is tried."
            )
        if facts.get("access_code") and facts.get("consent") != Job.Consent.YES:
            self.add_error(
                "access_code",
                "A code is kept only where the customer lets us look at the data.",
            )
        if facts.get("is_expected"):
            facts["came_by"] = Job.CameBy.POST
        return facts


class ArriveForm(JobForm):
    """What is seen when an announced device is unpacked."""

    access_code = None
    is_expected = None
    counter_failed = None
    counter_tries = None

    class Meta(JobForm.Meta):
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

    def clean(self):
        return self.cleaned_data


class CodeForm(forms.Form):
    why = TidyField(
        label="What you need it for",
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
