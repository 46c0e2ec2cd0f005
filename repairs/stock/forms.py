import re

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from repairs.stock.models import Part, Supplier
from shopdesk.fields import (
    DayFormField,
    MoneyFormField,
    WholeNumberField,
    use_currency,
)

CODE = {"class": "code w20"}


def split_codes(text: str) -> list[str]:
    """Return the codes of a list separated by commas, semicolons or spaces."""
    return [code for code in re.split(r"[\s,;]+", text) if code]


def codes_field(label: str, help_text: str) -> forms.CharField:
    """Return a field for such a list."""
    return forms.CharField(
        label=label,
        required=False,
        max_length=1000,
        widget=forms.TextInput({"class": "code"}),
        help_text=help_text,
    )


def part_with_number(number: str) -> Part:
    part = Part.objects.filter(number__iexact=number).first()
    if part is None:
        raise ValidationError(f"Part {number} not found.")
    return part


class PartForm(forms.ModelForm):
    """A part; its substitutes are entered by number."""

    substitutes = codes_field("Substitutes", "Part numbers, separated by commas.")

    class Meta:
        model = Part
        fields = ["number", "name", "value", "maker_number", "supplier_number"]
        fields += ["bin", "fixed_price", "supplier", "reorder_level", "lead_days"]
        fields += ["is_retired"]
        widgets = {
            "number": forms.TextInput(CODE),
            "value": forms.TextInput(CODE),
            "maker_number": forms.TextInput(CODE),
            "supplier_number": forms.TextInput(CODE),
            "bin": forms.TextInput({"class": "code w8"}),
        }
        help_texts = {
            "number": "The shop’s own part number.",
            "supplier_number": "As on the label, for scanning.",
            "name": "For example: resistor, thick film; socket, 5 pin",
        }

    def __init__(self, *args, shop, **kwargs):
        super().__init__(*args, **kwargs)
        use_currency(self, shop.places)
        if self.instance.pk:
            self.initial |= self.linked_values(self.instance)

    def linked_values(self, part):
        """Return the entries that are not columns of the part."""
        numbers = part.substitutes.values_list("number", flat=True)
        return {"substitutes": ", ".join(numbers)}

    def clean_number(self):
        number = self.cleaned_data["number"]
        if re.search(r"[\s*@#;,]", number):
            raise ValidationError(
                "A part number must not contain spaces or any of * @ # ; ,"
            )
        others = Part.objects.filter(number__iexact=number).exclude(pk=self.instance.pk)
        if others.exists():
            raise ValidationError("This part number already exists.")
        return number

    def clean_substitutes(self):
        numbers = split_codes(self.cleaned_data["substitutes"])
        parts = [part_with_number(number) for number in numbers]
        if self.instance in parts:
            raise ValidationError("A part cannot be its own substitute.")
        return parts

    def save(self, commit=True):
        part = super().save(commit)
        part.substitutes.set(self.cleaned_data["substitutes"])
        return part


class MovementForm(forms.Form):
    """A form that changes stock; it knows the last movement that its page showed."""

    last_movement_id = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args, part, shop, **kwargs):
        super().__init__(*args, **kwargs)
        self.part, self.shop = part, shop


class ReceiveForm(MovementForm):
    prefix = "r"
    quantity = WholeNumberField(label="Quantity", min_value=1)
    unit_cost = MoneyFormField(label="Unit cost", is_per_piece=True)
    lot = forms.CharField(
        label="Lot or date code",
        required=False,
        max_length=40,
        widget=forms.TextInput({"class": "code w12"}),
    )
    supplier = forms.CharField(
        required=False,
        max_length=80,
        widget=forms.TextInput(
            {"class": "w20", "list": "suppliers", "autocomplete": "off"}
        ),
        help_text="Select one or type a new one.",
    )
    on = DayFormField(label="Received on", initial=timezone.localdate)
    blocked_anyway = forms.BooleanField(label="Receive it all the same", required=False)

    def __init__(self, *args, sees_costs, **kwargs):
        super().__init__(*args, **kwargs)
        # Asked only if the lot typed is a blocked one.
        self.blocked = self._blocked_lot() if self.is_bound else None
        if self.blocked is None:
            del self.fields["blocked_anyway"]
        use_currency(self, self.shop.places)
        if not sees_costs:
            del self.fields["unit_cost"]

    def _blocked_lot(self):
        lot = self.data.get(self.add_prefix("lot"), "").strip()[:40]
        blocked = self.part.deliveries.filter(blocked_on__isnull=False)
        return blocked.filter(lot__iexact=lot).last() if lot else None

    def clean(self):
        data = super().clean()
        if self.blocked and not data.pop("blocked_anyway", False):
            self.add_error(
                "lot",
                f"A delivery of lot {self.blocked} is blocked:"
                f" {self.blocked.blocked_reason} Tick the box to receive it all the"
                " same.",
            )
        return data

    def clean_on(self):
        day = self.cleaned_data["on"]
        if day > timezone.localdate():
            raise ValidationError("Enter a date that is not in the future.")
        return day


class CostForm(forms.Form):
    """The cost of a delivery that was received without it."""

    unit_cost = MoneyFormField(label="Unit cost", is_per_piece=True)

    def __init__(self, *args, delivery, shop, **kwargs):
        super().__init__(*args, prefix=f"cost{delivery.pk}", **kwargs)
        field = self.fields["unit_cost"]
        use_currency(self, shop.places)
        field.widget.attrs["aria-label"] = f"Unit cost, {delivery}"


def _reason(help_text: str) -> forms.CharField:
    widget = forms.TextInput({"class": "w20"})
    return forms.CharField(
        label="Reason", max_length=200, widget=widget, help_text=help_text
    )


class BlockForm(forms.Form):
    """Why a delivery is set aside."""

    reason = _reason("For example: too many comebacks, returned to supplier")

    def __init__(self, *args, delivery, **kwargs):
        super().__init__(*args, prefix=f"block{delivery.pk}", **kwargs)
        label = f"Reason for blocking {delivery}"
        self.fields["reason"].widget.attrs["aria-label"] = label


class WantedForm(forms.Form):
    """How many of a part to put on the order list."""

    prefix = "w"
    quantity = WholeNumberField(label="Quantity to order", max_value=99_999)


class SupplierForm(forms.ModelForm):
    website = forms.URLField(assume_scheme="https", required=False, max_length=200)

    class Meta:
        model = Supplier
        fields = ["name", "contact", "phone", "email", "website", "customer_number"]
        fields += ["notes"]
        widgets = {"notes": forms.Textarea({"rows": 3})}
        help_texts = {"contact": "A person or department."}


class CountForm(MovementForm):
    prefix = "c"
    counted = WholeNumberField(label="Counted quantity")
    reason = _reason("For example: annual count, bin was empty")


class ScrapForm(MovementForm):
    prefix = "s"
    quantity = WholeNumberField(label="Quantity", min_value=1)
    delivery = forms.ModelChoiceField(
        queryset=None, required=False, label="Delivery", empty_label="oldest"
    )
    reason = _reason("For example: bent pins, wet, past shelf life")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        deliveries = self.part.deliveries.filter(remaining__gt=0)
        self.fields["delivery"].queryset = deliveries


class SupplierOrderForm(forms.Form):
    """What is ordered from one supplier: a quantity for each of its parts.

    What was on order when the page was made is sent along.
    """

    expected_on = DayFormField(label="Expected on", required=False)

    def __init__(self, *args, supplier, lines, position, **kwargs):
        super().__init__(*args, auto_id=f"id_{position}_%s", **kwargs)
        self.supplier, self.lines = supplier, lines
        for line in lines:
            part = line.part
            self.fields[f"quantity-{part.pk}"] = WholeNumberField(
                label=f"Quantity of {part.number}",
                required=False,
                initial=line.need.quantity,
            )
            self.fields[f"seen-{part.pk}"] = forms.IntegerField(
                min_value=0, initial=part.on_order, widget=forms.HiddenInput
            )

    def rows(self):
        """Yield each line with its two fields."""
        for line in self.lines:
            pk = line.part.pk
            yield line, self[f"quantity-{pk}"], self[f"seen-{pk}"]

    def clean_expected_on(self):
        day = self.cleaned_data["expected_on"]
        if day and day < timezone.localdate():
            raise ValidationError("Enter a date that is not in the past.")
        return day

    def clean(self):
        data = super().clean()
        wanted = {
            line.part: data.get(f"quantity-{line.part.pk}") for line in self.lines
        }
        quantities = {part: number for part, number in wanted.items() if number}
        if not self.lines:
            self.add_error(None, "Nothing is to be ordered there any more.")
        return {
            "quantities": quantities,
            "seen": {part: data.get(f"seen-{part.pk}") for part in quantities},
            "expected_on": data.get("expected_on"),
        }
