"""What the owner must say before the first quote or invoice, and how it is stored."""

from datetime import date
from decimal import Decimal

from django import forms
from django.db import transaction
from django.utils.translation import gettext, gettext_lazy

from shopdesk.errors import IncompleteError
from shopdesk.fields import ExactFormField, MoneyFormField, use_currency
from shopdesk.shop import currencies, tax
from shopdesk.shop.currency_lock import CurrencyChecks
from shopdesk.shop.fields import CurrencyField, LinesField, TimeZoneField
from shopdesk.shop.models import Shop, TaxRate, TaxRule
from shopdesk.shop.presets import Preset
from shopdesk.shop.price_list import FEE, LABOUR

PRICES = {
    "hourly_rate": (
        gettext_lazy("Price of an hour"),
        gettext_lazy("Charged to customers."),
    ),
    "hourly_cost": (
        gettext_lazy("Cost of an hour"),
        gettext_lazy("Wages, rent, tools. Customers never see it."),
    ),
    "diagnosis_fee": (
        gettext_lazy("Diagnosis fee"),
        gettext_lazy("Suggested when booking in. 0: none."),
    ),
    "return_shipping_price": (
        gettext_lazy("Return shipping"),
        gettext_lazy("Packing and shipping one device."),
    ),
}

TAX_CHOICES = ("taxes_parts_only", "reverse_charge_abroad")
"""Fields that only some presets offer; none is ticked."""


def check_set_up(shop: Shop) -> None:
    """Raise unless the owner has set up what quotes and invoices need.

    A database without any shop has no owner either, and is used as it is.
    """
    if shop.set_up_on is None and not shop._state.adding:
        raise IncompleteError(
            gettext(
                "The shop is not set up yet: country, address, tax and hourly price are"
                " missing. The owner enters them on the page “Set up the shop”."
            )
        )


class NewShopForm(CurrencyChecks, forms.ModelForm):
    """What quotes and invoices need; nothing about tax and prices is assumed."""

    YES, NO = "yes", "no"

    name = forms.CharField(
        max_length=80,
        help_text=gettext_lazy("As required on invoices."),
        widget=forms.TextInput(attrs={"class": "w20"}),
    )
    address = LinesField(most=6)
    time_zone = TimeZoneField()
    currency = CurrencyField(
        help_text=gettext_lazy("It cannot be changed after the first amount.")
    )
    paper_language = forms.ChoiceField(choices=currencies.PAPER_LANGUAGES.items)
    is_registered = forms.ChoiceField(
        label=gettext_lazy("Is the shop registered for tax?"),
        choices=[
            (YES, gettext_lazy("Yes, we charge tax")),
            (NO, gettext_lazy("No, we charge no tax")),
        ],
        widget=forms.RadioSelect,
    )
    tax_rate = ExactFormField(
        label=gettext_lazy("Usual tax rate (%)"),
        required=False,
        places=4,
        max_value=Decimal(100),
        help_text=gettext_lazy("If registered. Check your local rules."),
    )
    taxes_parts_only = forms.BooleanField(
        label=gettext_lazy("Tax on parts only"),
        required=False,
        help_text=gettext_lazy(
            "Labour and fees are then exempt, for the reason below. Check your"
            " local rules."
        ),
    )
    reverse_charge_abroad = forms.BooleanField(
        label=gettext_lazy("Reverse charge for businesses in another country"),
        required=False,
        help_text=gettext_lazy("They need a VAT number. Check your local rules."),
    )
    no_tax_reason = forms.CharField(
        label=gettext_lazy("Reason printed if no tax is charged"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"class": "w20"}),
        help_text=gettext_lazy("Check your local rules."),
    )

    class Meta:
        model = Shop
        fields = [
            *("name", "address", "phone", "email", "time_zone"),
            *("currency", "locale", "paper", "paper_language"),
            *("tax_name", "tax_id", "prices_include_tax"),
        ]
        widgets = {
            "phone": forms.TextInput(attrs={"class": "w20", "autocomplete": "tel"}),
            "email": forms.EmailInput(attrs={"class": "w20"}),
            "locale": forms.TextInput(attrs={"class": "code w8"}),
            "tax_name": forms.TextInput(attrs={"class": "w8"}),
            "tax_id": forms.TextInput(attrs={"class": "code w20"}),
        }

    def __init__(self, *args, country: str, preset: Preset, **kwargs):
        super().__init__(*args, **kwargs)
        self.country = country
        self.initial |= preset.settings(country)
        self.initial["no_tax_reason"] = preset.no_tax_reason
        self.fields["address"].required = True
        self.fields["tax_id"].help_text = gettext("If registered. %(tax_number)s") % {
            "tax_number": preset.tax_number
        }
        for name in set(TAX_CHOICES) - set(preset.tax_choices):
            del self.fields[name]
        places = currencies.places(
            self.data.get("currency") or self.initial["currency"]
        )
        for name, (label, help_text) in PRICES.items():
            self.fields[name] = MoneyFormField(
                label=label,
                help_text=help_text,
                max_value=Decimal(10_000_000),
            )
        use_currency(self, places)
        for name, box in self.fields.items():
            if name in self.Meta.fields:
                box.label = box.label or Shop._meta.get_field(name).verbose_name

    def groups(self):
        """Return the fields under their headings, in the order of the page."""
        names = {
            gettext("The shop"): ("name", "address", "phone", "email", "time_zone"),
            gettext("Money and documents"): (
                "currency",
                "locale",
                "paper",
                "paper_language",
            ),
            gettext("Tax"): (
                *("is_registered", "tax_name", "tax_rate", "tax_id"),
                *("prices_include_tax", *TAX_CHOICES, "no_tax_reason"),
            ),
            gettext("Prices"): tuple(PRICES),
        }
        return [
            (title, [self[name] for name in of if name in self.fields])
            for title, of in names.items()
        ]

    def clean(self):
        entered = super().clean()
        registered = entered.get("is_registered")
        if registered == self.YES:
            if "tax_rate" in entered and not entered["tax_rate"]:
                self.add_error("tax_rate", gettext("Enter the usual rate in percent."))
            if not entered.get("tax_id"):
                self.add_error(
                    "tax_id", gettext("Enter the number that invoices must show.")
                )
        needs_reason = registered == self.NO or entered.get("taxes_parts_only")
        if needs_reason and not entered.get("no_tax_reason"):
            self.add_error("no_tax_reason", gettext("Enter what invoices are to say."))
        return entered

    @transaction.atomic
    def save_on(self, day: date) -> Shop:
        """Store the settings and the tax; from `day` on papers can be issued."""
        entered, shop = self.cleaned_data, self.instance
        registered = entered["is_registered"] == self.YES
        shop.country = self.country
        shop.tax_kind = tax.STANDARD if registered else tax.EXEMPT
        for name in PRICES:
            setattr(shop, name, entered[name])
        if currencies.places(shop.currency) < 2:
            shop.rounding_step = Decimal(0)
        shop.set_up_on = day
        TaxRate.objects.update_or_create(
            kind=shop.tax_kind,
            starts_on=date(day.year, 1, 1),
            defaults={"rate": entered["tax_rate"], "reason": ""}
            if registered
            else {"rate": Decimal(0), "reason": entered["no_tax_reason"]},
        )
        if registered:
            self._add_tax_rules()
        shop.save()
        return shop

    def _add_tax_rules(self) -> None:
        entered = self.cleaned_data
        rules = []
        if entered.get("taxes_parts_only"):
            reason = entered["no_tax_reason"]
            rules = [
                TaxRule(sold=sold, kind=tax.EXEMPT, reason=reason)
                for sold in (LABOUR, FEE)
            ]
        if entered.get("reverse_charge_abroad"):
            rules.append(TaxRule(buyer=tax.ABROAD, kind=tax.REVERSE))
        for rule in rules:
            rule.save()
