"""The forms of customers and devices."""

import re

from django import forms

from repairs.customers.fields import NormalizedCharField, PhoneField
from repairs.customers.models import Customer, Device, DeviceModel
from shopdesk.fields import DayFormField
from shopdesk.shop import currencies, tax

CONTACT_FIELDS = {
    Customer.Contact.PHONE: "phone",
    Customer.Contact.EMAIL: "email",
    Customer.Contact.POST: "address",
}
"""The preferred contacts, and the field that each needs."""

TAX_FIELDS = ("company", "buyer_kind", "tax_kind")
"""What the kind of tax depends on."""


def has_letters(tax_id):
    """Whether a tax number starts with two letters, as VAT numbers do."""
    return bool(re.match("[A-Za-z]{2}.*[0-9]", tax_id, re.ASCII))


class CustomerForm(forms.ModelForm):
    """Name and contact of a customer, at the counter and on their page."""

    name = NormalizedCharField(max_length=120, missing="Enter a name.")
    phone = PhoneField(required=False)
    company = NormalizedCharField(max_length=120, required=False)
    address = NormalizedCharField(max_length=300, required=False, keep_lines=True)

    class Meta:
        model = Customer
        fields = ("name", "phone", "email", "company", "address", "preferred_contact")
        widgets = {"email": forms.EmailInput({"autocomplete": "off", "class": "w20"})}

    def __init__(self, *args, shop, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["phone"].shop = shop

    def clean(self):
        """Fall back to a contact that was entered if the preferred one is blank."""
        facts = super().clean()
        entered = [kind for kind, field in CONTACT_FIELDS.items() if facts.get(field)]
        if entered and facts.get("preferred_contact") not in entered:
            facts["preferred_contact"] = entered[0]
        return facts


class NewCustomerForm(CustomerForm):
    """A new customer needs one contact, to hear that the device is ready."""

    def clean(self):
        facts = super().clean()
        contacts = [facts.get(field) for field in CONTACT_FIELDS.values()]
        if not self.errors and not any(contacts):
            self.add_error(
                "phone", "Enter a phone number, an email or a postal address."
            )
        return facts


class ChangeCustomerForm(CustomerForm):
    country = forms.ChoiceField(
        required=False,
        choices=lambda: [("", "as the shop"), *currencies.countries().items()],
        help_text="Country of the address.",
    )
    tax_id = NormalizedCharField(
        label="Tax number",
        max_length=40,
        required=False,
        help_text="VAT numbers start with the letters of their country.",
        attrs={"class": "code w20"},
    )
    notes = NormalizedCharField(max_length=2000, required=False, keep_lines=True)

    class Meta(CustomerForm.Meta):
        fields = [*CustomerForm.Meta.fields, "country", "tax_id", "buyer_kind"]
        fields += ["tax_kind", "einvoice", "notes"]
        help_texts = {
            "buyer_kind": "The tax rules of the shop settings may depend on it.",
            "tax_kind": "If this customer is taxed differently, whatever is sold."
            " Reverse charge needs a VAT number. Check local regulations.",
        }

    def __init__(self, *args, tax_rules, **kwargs):
        """`tax_rules` are those of the shop today."""
        super().__init__(*args, **kwargs)
        self.tax_rules = tax_rules

    def clean_tax_kind(self):
        kind = self.cleaned_data["tax_kind"]
        if kind and kind not in self.tax_rules.in_force:
            raise forms.ValidationError(
                f"The shop has no {tax.LABELS[kind]}. The owner can add it in the shop"
                " settings."
            )
        return kind

    def clean(self):
        facts = super().clean()
        entered = Customer(**{name: facts.get(name) or "" for name in TAX_FIELDS})
        is_reverse = tax.REVERSE in self.tax_rules.kinds_for(entered.as_buyer)
        if is_reverse and "tax_id" in facts and not has_letters(facts["tax_id"]):
            self.add_error(
                "tax_id",
                "Reverse charge needs a VAT number that starts with the letters of its"
                " country.",
            )
        return facts


class DeviceForm(forms.Form):
    """A device that is not on record."""

    serial = NormalizedCharField(
        max_length=60,
        required=False,
        help_text="Type or scan. Leave blank if there is none.",
        attrs={"class": "code w20", "autocapitalize": "characters"},
    )
    kind = NormalizedCharField(
        max_length=40,
        help_text="For example: laptop, tablet, amplifier.",
        missing="Enter the device type.",
        attrs={"class": "w12", "list": "kinds"},
    )
    maker = NormalizedCharField(
        max_length=60, required=False, attrs={"class": "w12", "list": "makers"}
    )
    model = NormalizedCharField(
        max_length=80,
        missing="Enter the model, or what is printed on it.",
        attrs={"class": "w20", "list": "models"},
    )
    board_revision = NormalizedCharField(
        max_length=40, required=False, attrs={"class": "code w8"}
    )

    def device(self, *, owner: Customer) -> Device:
        """Return the device, not saved; its model may be on record."""
        facts = self.cleaned_data
        names = {name: facts[name] for name in ("kind", "maker", "model")}
        model = DeviceModel.objects.matching(**names) or DeviceModel(**names)
        return Device(
            model=model,
            serial=facts["serial"],
            board_revision=facts["board_revision"],
            owner=owner,
        )


class ChangeDeviceForm(forms.ModelForm):
    """The facts of a device that may have been misread."""

    serial = NormalizedCharField(
        max_length=60, required=False, attrs={"class": "code w20"}
    )
    board_revision = NormalizedCharField(
        max_length=40, required=False, attrs={"class": "code w12"}
    )
    out_of_use_on = DayFormField(
        label="No longer in use since",
        required=False,
        help_text="Scrapped or sold. Comebacks are not counted after this date.",
    )

    class Meta:
        model = Device
        fields = ("serial", "board_revision", "out_of_use_on")

    def clean_serial(self):
        serial = self.cleaned_data["serial"]
        others = Device.objects.with_serial(serial).filter(
            maker_key=self.instance.maker_key
        )
        if others.exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError(
                "This serial number is already used for another device of this maker."
            )
        return serial


class ModelFamilyForm(forms.ModelForm):
    """The family of a model, typed or one of those in use."""

    family = NormalizedCharField(
        max_length=60,
        required=False,
        help_text="Models of one kind that share their faults. Blank: none.",
        attrs={"class": "w20", "list": "families"},
    )

    class Meta:
        model = DeviceModel
        fields = ("family",)


class NewOwnerForm(forms.Form):
    """A search for the new owner."""

    query = NormalizedCharField(
        label="Name, phone, email or company",
        max_length=200,
        attrs={"autofocus": True},
    )
