from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError

from shopdesk.fields import ExactFormField, MoneyFormField, WholeFormField
from shopdesk.shop import known
from shopdesk.shop.models import Shop

MONEY = ("labour_rate", "cost_rate", "rounding_step", "diagnosis_fee", "parcel")
GROUPS = (
    (
        "The shop",
        "What stands at the head of every paper.",
        ["name", "address", "phone", "email"],
    ),
    (
        "Where it is",
        "Choose the currency before the first job: amounts already written keep their"
        " figures.",
        ["country", "currency", "locale", "paper"],
    ),
    (
        "Tax",
        "Check your local rules: what holds where you are is for you and your adviser.",
        ["tax_id", "tax_kind", "prices_include_tax"],
    ),
    (
        "Prices",
        "A quote is made from these; each of its figures can still be changed.",
        [*MONEY[:2], "minimum_minutes", "rounding_step", "markup", *MONEY[3:]]
        + ["quote_days"],
    ),
    (
        "Cover",
        "Days of cover count from the day after handing back. Rights by law come on"
        " top: check your local rules.",
        ["cover_lasting", "cover_stopgap", "cover_rest"],
    ),
    (
        "Comebacks",
        "By these the monthly table says which fix holds. A chance is between 0 and 1:"
        " 0.1 is one in ten.",
        ["watch_days", "return_limit", "sureness", "proof_risk"],
    ),
    (
        "Words on papers",
        "Plain sentences that every customer gets.",
        ["slip_words", "cover_words"],
    ),
)


def chance(least="0.01", **kwargs):
    return ExactFormField(
        places=4, min_value=Decimal(least), max_value=Decimal("0.99"), **kwargs
    )


def money(label, help_text):
    return MoneyFormField(label=label, help_text=help_text, max_value=Decimal(100_000))


def days(label, help_text, *, least=0, most=3650):
    return WholeFormField(
        label=label, help_text=help_text, min_value=least, max_value=most
    )


class FiguresForm(forms.ModelForm):
    """All that the shop decides for itself."""

    country = forms.ChoiceField(
        choices=known.countries().items,
        help_text="Telephone numbers without a country are read as from here.",
    )
    currency = forms.ChoiceField(
        choices=lambda: [(c, f"{c} {name}") for c, name in known.currencies().items()],
        help_text="ISO 4217.",
    )
    locale = forms.CharField(
        label="Numbers are written as in",
        max_length=12,
        widget=forms.TextInput(attrs={"class": "code w8"}),
        help_text="Language and country, such as en_GB, de_DE, fr_CH.",
    )
    labour_rate = money("Price of an hour", "What the customer pays.")
    cost_rate = money("Cost of an hour", "What an hour at the bench costs the shop.")
    minimum_minutes = days(
        "Least minutes charged", "A shorter repair is charged as this.", most=480
    )
    rounding_step = money(
        "Round labour to", "Labour is rounded to a multiple of this; 0 leaves it."
    )
    markup = ExactFormField(
        label="Markup on parts in percent",
        places=2,
        max_value=Decimal(1000),
        help_text="On the cost of the delivery, where a part has no price of its own.",
    )
    diagnosis_fee = money(
        "Fee for finding the fault", "Offered when booking in; it may be waived."
    )
    parcel = money("Price of a parcel", "Packing and posting one device.")
    quote_days = days("A quote holds for days", "Then it runs out.", least=1, most=365)
    cover_lasting = days("Days on a lasting fix", "Where a fix has no days of its own.")
    cover_stopgap = days("Days on a stopgap", "Usually fewer.")
    cover_rest = days(
        "Least days after a covered redo",
        "The old cover runs on; it is never shorter than this.",
    )
    watch_days = days(
        "A comeback counts within days",
        "Returns later than this are not held against the fix.",
        least=7,
        most=730,
    )
    return_limit = chance(
        label="Highest return risk we accept",
        help_text="A fix above this comes back too often.",
    )
    sureness = chance(
        "0.51",
        label="How sure a verdict must be",
        help_text="Higher: fewer false alarms, and more repairs needed to tell.",
    )
    proof_risk = chance(
        label="Chance that an unmended device passes its proof run",
        help_text="Lower: longer proof runs.",
    )

    class Meta:
        model = Shop
        fields = [name for _, _, names in GROUPS for name in names]
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "name": forms.TextInput(attrs={"class": "w20"}),
            "email": forms.EmailInput(attrs={"class": "w20"}),
            "phone": forms.TextInput(attrs={"class": "w20", "autocomplete": "tel"}),
            "tax_id": forms.TextInput(attrs={"class": "code w20"}),
            "slip_words": forms.Textarea(attrs={"rows": 4}),
            "cover_words": forms.Textarea(attrs={"rows": 4}),
        }
        labels = {"prices_include_tax": "Prices include tax"}
        help_texts = {
            "tax_id": "As it must stand on invoices.",
            "prices_include_tax": (
                "With the tick, what a customer is told is what a customer pays;"
                " the tax is split out of it."
            ),
            "slip_words": "At the foot of the claim slip.",
            "cover_words": "On the cover certificate.",
        }

    def groups(self):
        """Legend, a sentence, and the boxes under it."""
        return [
            (legend, sentence, [self[name] for name in names])
            for legend, sentence, names in GROUPS
        ]

    def clean(self):
        told = super().clean()
        currency = told.get("currency")
        if currency:
            self.check_locale(told, currency)
            self.check_decimals(told, currency)
        return told

    def check_locale(self, told, currency):
        locale = told.get("locale")
        if locale and known.sample(currency, locale=locale) is None:
            self.add_error(
                "locale", "No such language and country: write it like en_GB."
            )

    def check_decimals(self, told, currency):
        places = known.places(currency)
        for name in MONEY:
            amount = told.get(name)
            if amount is not None and amount != round(amount, places):
                self.add_error(
                    name, ValidationError(f"{currency} has {places} decimals.")
                )
