from django import forms
from django.utils.translation import gettext_lazy

from shopdesk.api.models import ApiToken

DAYS = [
    (30, gettext_lazy("30 days")),
    (90, gettext_lazy("90 days")),
    (365, gettext_lazy("1 year")),
    (1095, gettext_lazy("3 years")),
]


class TokenForm(forms.ModelForm):
    """A new token: what it is for, what it shows, and for how long."""

    days = forms.TypedChoiceField(
        label=gettext_lazy("Valid for"), choices=DAYS, coerce=int, initial=365
    )

    class Meta:
        model = ApiToken
        fields = ("name", "days", "shows_costs", "shows_personal_data")
        help_texts = {
            "name": gettext_lazy(
                "What it is for, such as: stock figures for the website."
            ),
            "shows_costs": gettext_lazy(
                "What parts and repairs cost the shop, and allowances."
            ),
            "shows_personal_data": (
                gettext_lazy(
                    "Customers, serial numbers, and texts in"
                    " which a person may be named."
                )
            ),
        }
        error_messages = {
            "name": {"unique": "There is a token of this name. Enter another name."}
        }
