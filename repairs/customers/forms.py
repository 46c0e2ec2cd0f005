"""What is asked about a customer and a device."""

import re

from django import forms

from repairs.customers.fields import NormalizedCharField, PhoneField
from repairs.customers.models import Customer, Device, DeviceModel
from shopdesk.fields import DayFormField
from shopdesk.shop import currencies, tax

TEXT = {"autocomplete": "off"}
WAYS = {
    Customer.Reach.PHONE: "phone",
    Customer.Reach.EMAIL: "email",
    Customer.Reach.POST: "address",
}
"""How to reach a customer, and what must be known for it."""


def has_letters(tax_id):
    """Whether a tax number begins as VAT numbers do: with two letters."""
    return bool(re.match("[A-Za-z]{2}.*[0-9]", tax_id, re.ASCII))


class CustomerForm(forms.ModelForm):
    """Who it is and how to reach them. Used at the counter and on their own page."""

    name = NormalizedCharField(
        max_length=120,
        error_messages={"required": "Write down a name."},
        widget=forms.TextInput(attrs=TEXT),
    )
    phone = PhoneField(required=False)
    email = forms.EmailField(
        required=False,
        max_length=254,
        widget=forms.EmailInput(attrs={**TEXT, "class": "w20"}),
    )
    company = NormalizedCharField(
        max_length=120, required=False, widget=forms.TextInput(attrs=TEXT)
    )
    address = NormalizedCharField(
        max_length=300,
        required=False,
        keep_lines=True,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    class Meta:
        model = Customer
        fields = ("name", "phone", "email", "company", "address", "reach")

    def __init__(self, *args, shop, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["phone"].shop = shop

    def clean(self):
        """Reach them by what is currencies, where what was asked for is not."""
        facts = super().clean()
        ways = {way: facts.get(field) for way, field in WAYS.items()}
        known = [way for way, value in ways.items() if value]
        if known and not ways.get(facts.get("reach")):
            facts["reach"] = known[0]
        return facts


class NewCustomerForm(CustomerForm):
    """A customer nobody can reach would never hear that the device is ready."""

    def clean(self):
        facts = super().clean()
        if not self.errors and not any(facts.get(field) for field in WAYS.values()):
            self.add_error(
                "phone", "Give a phone number, an email or a postal address."
            )
        return facts


class ChangeCustomerForm(CustomerForm):
    country = forms.ChoiceField(
        required=False,
        choices=lambda: [
            ("", "the same as the shop’s"),
            *currencies.countries().items(),
        ],
        help_text="Where the address is.",
    )
    tax_id = NormalizedCharField(
        label="Tax number",
        max_length=40,
        required=False,
        help_text="For a VAT number with the letters of its country in front.",
        widget=forms.TextInput(attrs={**TEXT, "class": "code w20"}),
    )
    tax_kind = forms.ChoiceField(
        label="Tax",
        required=False,
        choices=[("", "the shop’s usual"), *tax.KINDS],
        help_text="Where their bills bear another tax than those of others. Reverse"
        " charge needs their VAT number. Check your local rules.",
    )
    notes = NormalizedCharField(max_length=2000, required=False, keep_lines=True)

    class Meta(CustomerForm.Meta):
        fields = (
            *CustomerForm.Meta.fields,
            "country",
            "tax_id",
            "tax_kind",
            "einvoice",
            "notes",
        )

    def __init__(self, *args, held, **kwargs):
        """`held` are the kinds of tax that the shop has today."""
        super().__init__(*args, **kwargs)
        self.held = held

    def clean_tax_kind(self):
        kind = self.cleaned_data["tax_kind"]
        if kind and kind not in self.held:
            raise forms.ValidationError(
                f"The shop has no {tax.LABELS[kind]}: the owner writes it down in the"
                " shop’s figures."
            )
        return kind

    def clean(self):
        facts = super().clean()
        is_reverse = facts.get("tax_kind") == tax.REVERSE
        if is_reverse and "tax_id" in facts and not has_letters(facts["tax_id"]):
            self.add_error(
                "tax_id",
                "Reverse charge needs their VAT number, with the letters of its country"
                " in front.",
            )
        return facts


class DeviceForm(forms.Form):
    """A device that was not here before."""

    serial = NormalizedCharField(
        max_length=60,
        required=False,
        widget=forms.TextInput(
            attrs={**TEXT, "class": "code w20", "autocapitalize": "characters"}
        ),
        help_text="Typed or scanned. Leave it empty where there is none.",
    )
    kind = NormalizedCharField(
        max_length=40,
        help_text="Laptop, tablet, amplifier …",
        error_messages={"required": "Say what kind of device it is."},
        widget=forms.TextInput(attrs={**TEXT, "class": "w12", "list": "kinds"}),
    )
    maker = NormalizedCharField(
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs={**TEXT, "class": "w12", "list": "makers"}),
    )
    model = NormalizedCharField(
        max_length=80,
        error_messages={"required": "Write down the model, or what is printed on it."},
        widget=forms.TextInput(attrs={**TEXT, "class": "w20", "list": "models"}),
    )
    board_revision = NormalizedCharField(
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={**TEXT, "class": "code w8"}),
    )

    def device(self, *, owner: Customer) -> Device:
        """The device as typed, not saved; its model is one on record where there is."""
        facts = self.cleaned_data
        named = {name: facts[name] for name in ("kind", "maker", "model")}
        model = DeviceModel.objects.alike(**named) or DeviceModel(**named)
        return Device(
            model=model,
            serial=facts["serial"],
            board_revision=facts["board_revision"],
            owner=owner,
        )


class ChangeDeviceForm(forms.ModelForm):
    """What may have been read wrong on a device."""

    serial = NormalizedCharField(
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs={**TEXT, "class": "code w20"}),
    )
    board_revision = NormalizedCharField(
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={**TEXT, "class": "code w12"}),
    )
    out_of_use_on = DayFormField(
        label="Gone for good on",
        required=False,
        help_text="Scrapped, or sold to someone who will not come here. After this day"
        " the shop would not hear of a comeback.",
    )

    class Meta:
        model = Device
        fields = ("serial", "board_revision", "out_of_use_on")

    def clean_serial(self):
        serial = self.cleaned_data["serial"]
        same = Device.objects.with_serial(serial).filter(
            maker_key=self.instance.maker_key
        )
        if same.exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError(
                "Another device of this maker has this serial already.", code="taken"
            )
        return serial


class NewOwnerForm(forms.Form):
    """Words by which the new owner is found."""

    who = NormalizedCharField(
        label="Name, phone, email or company",
        max_length=200,
        widget=forms.TextInput(attrs={**TEXT, "autofocus": True}),
    )
