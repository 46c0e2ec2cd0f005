from django import forms

from billing.customer_page.forms import is_signature_path
from billing.handover import shipping
from billing.invoices.forms import PaymentForm
from shopdesk.fields import WholeNumberField

POSTED = ["carrier", "number", "grams", "battery"]


class HandBackForm(PaymentForm):
    """The payment, who collects or which parcel, and the documents to email.

    For the job as the desk saw it.
    """

    how = forms.ChoiceField(
        label="Handover method", choices=shipping.WAYS, widget=forms.RadioSelect
    )
    to = forms.CharField(
        label="Collected by",
        max_length=120,
        required=False,
        help_text="Name of the person collecting. Optional.",
    )
    carrier = forms.CharField(label="Carrier", max_length=60, required=False)
    number = forms.CharField(
        label="Parcel number",
        max_length=60,
        required=False,
        help_text="Can be added later.",
        widget=forms.TextInput(attrs={"class": "code"}),
    )
    grams = WholeNumberField(
        label="Weight in grams", required=False, min_value=1, max_value=100_000
    )
    battery = forms.ChoiceField(
        label="Battery",
        choices=[("", "not shipped"), *shipping.BATTERY],
        required=False,
    )
    mail = forms.MultipleChoiceField(
        label="Send documents by email",
        required=False,
        choices=[
            (shipping.BILL, "invoice"),
            (shipping.CERTIFICATE, "warranty certificate"),
        ],
        widget=forms.CheckboxSelectMultiple,
    )
    ink = forms.CharField(required=False, widget=forms.HiddenInput)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args, version, came_by, email, is_in_warranty, **kwargs):
        super().__init__(*args, is_optional=True, **kwargs)
        self.fields["version"].initial = version
        self.fields["how"].initial = shipping.POST if came_by == "post" else "counter"
        if email:
            self.fields["mail"].help_text = f"To {email}."
            if not is_in_warranty:
                self.fields["mail"].choices = [
                    (key, said)
                    for key, said in self.fields["mail"].choices
                    if key != shipping.CERTIFICATE
                ]
        else:
            del self.fields["mail"]

    @property
    def is_for_post(self) -> bool:
        """Whether the boxes for a parcel stand open."""
        said = self["how"].value() == shipping.POST
        return said or any(self[name].errors for name in POSTED if self.is_bound)

    @property
    def money(self):
        return [self["amount"], self["means"]]

    @property
    def leaves(self):
        return [self["how"], self["to"]]

    @property
    def posted(self):
        return [self[name] for name in POSTED]

    def clean_ink(self):
        drawn = self.cleaned_data["ink"]
        if drawn and not is_signature_path(drawn):
            raise forms.ValidationError("The signature could not be read. Sign again.")
        return drawn

    def clean(self):
        asked = super().clean()
        if asked.get("ink") and not asked.get("to") and "to" in asked:
            self.add_error("to", "Enter the name of the person who signed.")
        if asked.get("how") == shipping.POST:
            if "carrier" in asked and not asked["carrier"]:
                self.add_error("carrier", "Enter the carrier.")
            if "battery" in asked and not asked["battery"]:
                self.add_error("battery", "Select the battery status.")
        return asked

    def leaving(self) -> shipping.HandoverDetails:
        told = self.cleaned_data
        is_posted = told["how"] == shipping.POST
        return shipping.HandoverDetails(
            how=told["how"],
            to="" if is_posted else told["to"],
            signature="" if is_posted else told["ink"],
            carrier=told["carrier"],
            number=told["number"],
            grams=told["grams"],
            battery=told["battery"] if is_posted else "",
            mail=frozenset(told.get("mail", [])),
        )


class ParcelNumberForm(forms.Form):
    number = forms.CharField(
        label="Parcel number",
        max_length=60,
        widget=forms.TextInput(attrs={"class": "code"}),
    )
