import re

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from repairs.stock.models import Part
from shopdesk.fields import DayFormField, MoneyFormField, WholeNumberField
from shopdesk.shop.models import Shop

WHY = forms.TextInput(attrs={"class": "w20"})


class PartForm(forms.ModelForm):
    """One part; its stand-ins are told by their numbers."""

    fixed_price = MoneyFormField(
        label="Price",
        required=False,
        help_text="Empty: cost of its delivery with the shop's markup.",
    )
    substitutes = forms.CharField(
        label="May be replaced by",
        required=False,
        max_length=1000,
        widget=forms.TextInput(attrs={"class": "code"}),
        help_text="Numbers of other parts, with commas between them.",
    )

    class Meta:
        model = Part
        fields = ["number", "name", "value", "maker_number", "supplier_number"]
        fields += ["bin", "fixed_price", "is_retired"]
        widgets = {
            "number": forms.TextInput(attrs={"class": "code w20"}),
            "value": forms.TextInput(attrs={"class": "code w20"}),
            "maker_number": forms.TextInput(attrs={"class": "code w20"}),
            "supplier_number": forms.TextInput(attrs={"class": "code w20"}),
            "bin": forms.TextInput(attrs={"class": "code w8"}),
        }
        labels = {
            "maker_number": "Maker’s number",
            "supplier_number": "Supplier’s number",
            "is_retired": "No longer used",
        }
        help_texts = {
            "number": "The shop’s own number, as on its bin and in lists.",
            "supplier_number": "As on its bag, so that a scan finds it.",
            "name": "Such as: resistor, thick film · socket, 5 pin",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["fixed_price"].shown = Shop.current().places
        if self.instance.pk:
            named = self.instance.substitutes.values_list("number", flat=True)
            self.fields["substitutes"].initial = ", ".join(named)

    def clean_number(self):
        number = self.cleaned_data["number"]
        if re.search(r"[\s*@#;,]", number):
            raise ValidationError(
                "A number has no spaces and none of * @ # ; , which part lists use."
            )
        others = Part.objects.filter(number__iexact=number).exclude(pk=self.instance.pk)
        if others.exists():
            raise ValidationError("There is a part of this number already.")
        return number

    def clean_substitutes(self):
        numbers = re.split(r"[\s,;]+", self.cleaned_data["substitutes"].strip())
        found = []
        for number in filter(None, numbers):
            part = Part.objects.filter(number__iexact=number).first()
            if part is None:
                raise ValidationError(f"There is no part {number}.")
            if part.pk == self.instance.pk:
                raise ValidationError("A part does not replace itself.")
            found.append(part)
        return found

    def save(self, commit=True):
        part = super().save(commit)
        part.substitutes.set(self.cleaned_data["substitutes"])
        return part


class MoveForm(forms.Form):
    """What every form that moves a part has: the last move its page showed."""

    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)


class ReceiveForm(MoveForm):
    quantity = WholeNumberField(label="How many", min_value=1)
    unit_cost = MoneyFormField(label="Cost of one", places=4)
    lot = forms.CharField(
        label="Lot or date code",
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"class": "code w12"}),
    )
    supplier = forms.CharField(
        required=False,
        max_length=80,
        widget=forms.TextInput(
            attrs={"class": "w20", "list": "suppliers", "autocomplete": "off"}
        ),
        help_text="Pick one or type a new one.",
    )
    on = DayFormField(label="Received on")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["unit_cost"].shown = Shop.current().places

    def clean_on(self):
        day = self.cleaned_data["on"]
        if day > timezone.localdate():
            raise ValidationError("This day is still to come.")
        return day


class CountForm(MoveForm):
    counted = WholeNumberField(label="Counted on the shelf")
    why = forms.CharField(
        label="Reason",
        max_length=200,
        widget=WHY,
        help_text="Such as: yearly count · bin was empty",
    )


class ScrapForm(MoveForm):
    quantity = WholeNumberField(label="How many", min_value=1)
    delivery = forms.ModelChoiceField(
        queryset=None,
        required=False,
        label="From",
        empty_label="the oldest",
    )
    why = forms.CharField(
        label="Reason",
        max_length=200,
        widget=WHY,
        help_text="Such as: legs bent · wet · out of date",
    )

    def __init__(self, *args, part, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["delivery"].queryset = part.deliveries.filter(remaining__gt=0)
