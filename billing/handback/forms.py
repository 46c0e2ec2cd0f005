from django import forms

from billing.invoices.forms import PaymentForm


class HandBackForm(PaymentForm):
    """What is paid at the counter, for the job as the desk saw it."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args, version, **kwargs):
        super().__init__(*args, is_optional=True, **kwargs)
        self.fields["version"].initial = version
