"""What is typed at the bench at any time. One form for each thing that is recorded."""

from django import forms
from django.db.models import Q

from repairs.faults.cautions import OF_DEVICE
from repairs.jobs.models import Job
from shopdesk.fields import DayFormField
from shopdesk.staff.models import Role, User

MAX_TRIES = 5000
MAX_HOURS = 5000


def text(rows=2, **kwargs):
    """A box for a few sentences."""
    kwargs.setdefault("required", False)
    return forms.CharField(widget=forms.Textarea(attrs={"rows": rows}), **kwargs)


def line(**kwargs):
    """A box for one sentence."""
    widget = forms.TextInput(attrs={"class": "w20"})
    return forms.CharField(widget=widget, required=False, **kwargs)


def count(most, **kwargs):
    widget = forms.TextInput(
        attrs={"inputmode": "numeric", "class": "w4", "autocomplete": "off"}
    )
    return forms.IntegerField(max_value=most, widget=widget, **kwargs)


class VersionForm(forms.Form):
    """The version of the job that the page showed; `version_now` where htmx knows a
    later one that this page has itself made."""

    version = forms.IntegerField(required=False, min_value=1, max_value=2**31 - 1)
    version_now = forms.IntegerField(required=False, min_value=1, max_value=2**31 - 1)

    @property
    def number(self):
        if not self.is_valid():
            return None
        return self.cleaned_data["version_now"] or self.cleaned_data["version"]


class DayForm(forms.Form):
    day = DayFormField(required=False, label="Day")

    @property
    def chosen(self):
        return self.cleaned_data["day"] if self.is_valid() else None


class JobDetailsForm(forms.ModelForm):
    """What the counter recorded, as far as the bench may find it otherwise."""

    due_on = DayFormField(required=False, label="Due date")

    class Meta:
        model = Job
        fields = ["waiting_for", "waiting_note", "due_on", "place", "assigned_to"]
        fields += [*OF_DEVICE, "condition", "accessories", "data_access"]
        help_texts = {
            "waiting_note": "Which part, or who.",
            "data_access": "No access: a stored access code is deleted.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        technicians = Q(role__in=(Role.BENCH, Role.OWNER), is_active=True)
        field = self.fields["assigned_to"]
        field.queryset = User.objects.filter(
            technicians | Q(pk=self.instance.assigned_to_id)
        )
        field.empty_label = "nobody"

    def clean(self):
        # A copy: what is saved is also given to the form's own record.
        return dict(super().clean())


class BatteryForm(forms.Form):
    disconnected = forms.BooleanField(required=False)


class ReasonForm(forms.Form):
    why = forms.CharField(max_length=500, label="Reason")
