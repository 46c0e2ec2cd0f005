"""The components of the interface on one page, for developers."""

from datetime import date
from decimal import Decimal

from django import forms
from django.shortcuts import render
from django_tables2 import RequestConfig

from shopdesk.fields import DayFormField, MoneyFormField
from shopdesk.look import tables
from shopdesk.look.symbols import ICON_OF


class SampleForm(forms.Form):
    complaint = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="In the customer’s words.",
    )
    serial = forms.CharField(
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"class": "code w20"}),
    )
    kind = forms.ChoiceField(choices=[("a", "Amplifier"), ("h", "Handheld")])
    came_by = forms.ChoiceField(
        choices=[("in", "Brought in"), ("post", "By post")], widget=forms.RadioSelect
    )
    accessories = forms.MultipleChoiceField(
        choices=[("psu", "Mains adapter"), ("case", "Case"), ("card", "Memory card")],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    due_on = DayFormField(label="Due date")
    fee = MoneyFormField(label="Diagnosis fee", places=2)
    may_see_data = forms.BooleanField(
        required=False, label="Access to customer data if needed"
    )


class SampleTable(tables.ListTable):
    caption = "Sample jobs"

    job = tables.CodeColumn()
    device = tables.Column()
    state = tables.BadgeColumn()
    booked_in = tables.DateColumn()
    minutes = tables.MinutesColumn()
    risk = tables.PercentColumn()
    total = tables.MoneyColumn()

    class Meta(tables.ListTable.Meta):
        per_page = 5
        row_attrs = {"class": lambda record: "hot" if record["risk"] > 0.3 else ""}


STATES = ("booked in", "diagnosed", "quoted", "repaired", "ready", "handed over")
SAMPLES = [
    {
        "job": f"26-{412 + n:05}",
        "device": ("Marrow 12 amplifier", "Tallow handheld", "Quill 3 meter")[n % 3],
        "state": STATES[n % len(STATES)],
        "booked_in": date(2026, 3, 1 + n),
        "minutes": 15 + 25 * n,
        "risk": n / 25,
        "total": Decimal("41.25") * (n + 1),
    }
    for n in range(12)
]


def look(request):
    """Show all components; submit the empty form to see its errors."""
    form = SampleForm(request.POST or None)
    table = RequestConfig(request).configure(SampleTable(SAMPLES))
    return render(
        request,
        "shopdesk/look/all.html",
        {"form": form, "table": table, "words": ICON_OF, "amount": Decimal("1234.5")},
    )
