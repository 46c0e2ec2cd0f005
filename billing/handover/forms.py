from dataclasses import fields

from django import forms
from django.utils.translation import gettext, gettext_lazy

from billing.customer_page.forms import is_signature_path
from billing.handover import shipping
from billing.handover.models import BATTERY
from billing.invoices.forms import PaymentForm
from shopdesk.fields import WholeNumberField

PARCEL_FIELDS = ["carrier", "number", "grams", "battery"]


class HandoverForm(PaymentForm):
    """The payment, who collects or which parcel, and the documents to email.

    `version` is the version of the job that staff saw.
    """

    how = forms.ChoiceField(
        label=gettext_lazy("Handover method"),
        choices=[(value, gettext_lazy(label)) for value, label in shipping.METHODS],
        widget=forms.RadioSelect,
    )
    to = forms.CharField(
        label=gettext_lazy("Collected by"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("Name of the person collecting the device."),
    )
    carrier = forms.CharField(
        label=gettext_lazy("Carrier"), max_length=60, required=False
    )
    number = forms.CharField(
        label=gettext_lazy("Parcel number"),
        max_length=60,
        required=False,
        help_text=gettext_lazy("Can be added later."),
        widget=forms.TextInput(attrs={"class": "code"}),
    )
    grams = WholeNumberField(
        label=gettext_lazy("Weight in grams"),
        required=False,
        min_value=1,
        max_value=100_000,
    )
    battery = forms.ChoiceField(
        label=gettext_lazy("Battery"),
        choices=[("", gettext_lazy("not shipped")), *BATTERY],
        required=False,
    )
    mail = forms.MultipleChoiceField(
        label=gettext_lazy("Send documents by email"),
        required=False,
        choices=[
            (shipping.INVOICE, gettext_lazy("invoice")),
            (shipping.CERTIFICATE, gettext_lazy("warranty certificate")),
        ],
        widget=forms.CheckboxSelectMultiple,
    )
    signature = forms.CharField(required=False, widget=forms.HiddenInput)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args, job, has_warranty, **kwargs):
        super().__init__(*args, is_optional=True, **kwargs)
        self.fields["version"].initial = job.version
        self.fields["how"].initial = (
            shipping.POST if job.came_by == "post" else shipping.COUNTER
        )
        mail = self.fields["mail"]
        mail.help_text = gettext("To {email}.").format(email=job.customer.email)
        if not job.customer.email:
            del self.fields["mail"]
        elif not has_warranty:
            mail.choices = mail.choices[:1]

    @property
    def is_for_post(self) -> bool:
        """Whether the fields of a parcel are shown."""
        is_posted = self["how"].value() == shipping.POST
        return is_posted or any(name in self.errors for name in PARCEL_FIELDS)

    def clean_signature(self):
        signature = self.cleaned_data["signature"]
        if signature and not is_signature_path(signature):
            raise forms.ValidationError(
                gettext("The signature could not be read. Sign again.")
            )
        return signature

    def clean(self):
        entered = super().clean()
        if entered.get("signature") and entered.get("to") == "":
            self.add_error("to", gettext("Enter the name of the person who signed."))
        if entered.get("how") == shipping.POST:
            if entered.get("carrier") == "":
                self.add_error("carrier", gettext("Enter the carrier."))
            if entered.get("battery") == "":
                self.add_error("battery", gettext("Select the battery status."))
        return entered

    def details(self) -> shipping.HandoverDetails:
        names = {field.name for field in fields(shipping.HandoverDetails)}
        return shipping.HandoverDetails(
            **{name: self.cleaned_data[name] for name in names & self.fields.keys()}
        )


class ParcelNumberForm(forms.Form):
    number = forms.CharField(
        label=gettext_lazy("Parcel number"),
        max_length=60,
        widget=forms.TextInput(attrs={"class": "code"}),
    )
