"""The forms of the settings page."""

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext, gettext_lazy

from shopdesk.fields import (
    DayFormField,
    ExactFormField,
    MoneyFormField,
    use_currency,
)
from shopdesk.shop import currencies, numbering, tax
from shopdesk.shop.currency_lock import CurrencyChecks
from shopdesk.shop.fields import (
    CurrencyField,
    LinesField,
    LogoField,
    LogoInput,
    SeriesField,
    TimeZoneField,
)
from shopdesk.shop.models import MarkupTier, Series, Shop, TaxRate, TaxRule
from shopdesk.shop.setting_groups import GROUPS, STANDARD_TEXTS


def known_kind(kind, *, known):
    """Return a kind of tax that the shop can charge today; raise for others."""
    if kind not in known:
        raise ValidationError(
            gettext(
                "Enter below what the %(tax)s is, from a day that is not in the future."
            )
            % {"tax": gettext(tax.LABELS[kind])}
        )
    return kind


class SettingsForm(CurrencyChecks, forms.ModelForm):
    """All settings; `known_kinds` are the kinds of tax that the shop has."""

    address = LinesField(most=6)
    country = forms.ChoiceField(choices=currencies.countries().items)
    logo = LogoField(
        required=False,
        widget=LogoInput(attrs={"accept": ".png,.jpg,.jpeg,.webp"}),
        help_text=gettext_lazy("PNG, JPEG or WebP up to 2 MB. Wide logos fit best."),
    )
    letterhead = LinesField(most=6)
    time_zone = TimeZoneField(required=False)
    paper_language = forms.ChoiceField(choices=currencies.PAPER_LANGUAGES.items)
    currency = CurrencyField()
    invoice_series = SeriesField()
    credit_series = SeriesField()

    class Meta:
        model = Shop
        # The logo comes as a file and is stored as bytes, by `save`.
        fields = [n for group in GROUPS for n in group.names if n != "logo"]
        widgets = {
            "name": forms.TextInput(attrs={"class": "w20"}),
            "email": forms.EmailInput(attrs={"class": "w20"}),
            "phone": forms.TextInput(attrs={"class": "w20", "autocomplete": "tel"}),
            "other_contact": forms.TextInput(attrs={"class": "w20"}),
            "tax_id": forms.TextInput(attrs={"class": "code w20"}),
            "locale": forms.TextInput(attrs={"class": "code w8"}),
            "tax_name": forms.TextInput(attrs={"class": "w8"}),
            **{name: forms.Textarea(attrs={"rows": 3}) for name in STANDARD_TEXTS},
        }

    def __init__(self, *args, known_kinds=frozenset(tax.DEFAULT_TAX), **kwargs):
        super().__init__(*args, **kwargs)
        self.known_kinds = known_kinds
        self.order_fields([name for group in GROUPS for name in group.names])
        for name, box in self.fields.items():
            field = Shop._meta.get_field(name)
            box.label = box.label or field.verbose_name
            box.help_text = box.help_text or field.help_text
        self.fields["logo"].widget.shown = self.instance.logo_inline
        currency = self.data.get("currency") or self.instance.currency
        use_currency(self, currencies.places(currency))

    def clean_tax_kind(self):
        return known_kind(self.cleaned_data["tax_kind"], known=self.known_kinds)

    def clean(self):
        entered = super().clean()
        self.check_series(entered)
        if self.errors and entered.get("logo"):
            self.add_error(
                "logo",
                gettext("Select the logo file again after correcting the errors."),
            )
        return entered

    def check_series(self, entered):
        """Two documents never share a number, in this year or in any other."""
        names = {
            name: numbering.possible_series_names(entered.get(name) or "")
            for name in ("invoice_series", "credit_series")
        }
        if (
            entered.get("invoice_series")
            and names["invoice_series"] & names["credit_series"]
        ):
            self.add_error(
                "credit_series", gettext("Must differ from the invoice prefix.")
            )
        for name, kind in (
            ("invoice_series", numbering.INVOICES),
            ("credit_series", numbering.CREDITS),
        ):
            taken = Series.objects.filter(name__in=names[name], last__gt=0)
            other = taken.exclude(kind=kind).first()
            if other:
                what = numbering.LABELS.get(other.kind, other.kind)
                self.add_error(
                    name,
                    gettext(
                        "The prefix %(name)s is used for %(what)s. Choose another one."
                    )
                    % {"name": other.name, "what": what},
                )

    def save(self, commit=True):
        picture = self.cleaned_data.get("logo")
        if picture is not None:
            self.instance.logo = picture or None
        return super().save(commit)


class RateForm(forms.ModelForm):
    """A tax rate that replaces the previous one from a day on."""

    rate = ExactFormField(
        label=gettext_lazy("Rate (%)"),
        required=False,
        max_value=Decimal(100),
        help_text=gettext_lazy("Blank: no tax."),
    )
    starts_on = DayFormField(label=gettext_lazy("Valid from"))
    reason = forms.CharField(
        label=gettext_lazy("Exemption reason"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"class": "w20"}),
        help_text=gettext_lazy("Printed on documents without tax."),
    )

    class Meta:
        model = TaxRate
        fields = ["kind", "rate", "starts_on", "reason"]
        labels = {"kind": gettext_lazy("Kind")}

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on
        self.fields["kind"].choices = [
            (kind, gettext(label)) for kind, label in tax.KINDS if kind != tax.ZERO
        ]
        # Otherwise the initial values of the empty record would count as entered.
        self.initial = {"kind": tax.STANDARD}

    def clean(self):
        entered = super().clean()
        kind, rate = entered.get("kind"), entered.get("rate")
        if kind in tax.WITH_RATE:
            entered["reason"] = ""
            if not rate and "rate" in entered:
                self.add_error(
                    "rate",
                    gettext("Enter the percentage of the %(tax)s.")
                    % {"tax": gettext(tax.LABELS[kind])},
                )
        elif kind:
            if rate:
                self.add_error(
                    "rate",
                    gettext("“%(tax)s” is 0 %%. Leave the rate blank.")
                    % {"tax": gettext(tax.LABELS[kind])},
                )
            if not entered.get("reason") and "reason" in entered:
                self.add_error(
                    "reason", gettext("Enter a reason: e-invoices require it.")
                )
        entered["rate"] = rate or Decimal(0)
        if kind and entered.get("starts_on"):
            self.check_day(kind, entered["starts_on"])
        return entered

    def validate_constraints(self):
        """Skip it: the fields have checked all that the database would."""

    def check_day(self, kind, starts_on):
        """Raise if a rate that was in use would change; it can only be replaced."""
        last = TaxRate.objects.filter(kind=kind).first()
        if last is None or starts_on > last.starts_on:
            return
        if starts_on == last.starts_on >= self.on:
            # It cannot have been used yet, so it may be corrected.
            self.instance.pk = last.pk
            self.instance._state.adding = False
            return
        self.add_error(
            "starts_on",
            gettext("%(last)s applies from %(starts_on)s. A new one must start later.")
            % {"last": last, "starts_on": last.starts_on},
        )


class TaxRuleForm(forms.ModelForm):
    """Another tax than the usual one, by what is sold and to whom."""

    kind = forms.ChoiceField(
        label=gettext_lazy("Tax"),
        choices=[
            ("", gettext_lazy("choose")),
            *((kind, gettext_lazy(label)) for kind, label in tax.KINDS),
        ],
        help_text=gettext_lazy("Reverse charge needs the customer’s VAT number."),
    )
    reason = forms.CharField(
        label=gettext_lazy("Exemption reason"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"class": "w20"}),
        help_text=gettext_lazy(
            "Printed on documents. Blank: the one of this kind of tax."
        ),
    )

    class Meta:
        model = TaxRule
        fields = ["sold", "buyer", "kind", "reason"]
        labels = {
            "sold": gettext_lazy("What is sold"),
            "buyer": gettext_lazy("Customers"),
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.known_kinds = frozenset(tax.DEFAULT_TAX)

    def clean_kind(self):
        return known_kind(self.cleaned_data["kind"], known=self.known_kinds)

    def clean(self):
        entered = super().clean()
        sold, buyer = entered.get("sold", ""), entered.get("buyer", "")
        if not (sold or buyer):
            self.add_error(
                "sold",
                gettext(
                    "Select what is sold or the customers."
                    " For all else there is the usual"
                    " tax."
                ),
            )
        elif TaxRule.objects.filter(sold=sold, buyer=buyer).exists():
            self.add_error(
                "sold", gettext("There is already a rule for this. Remove it first.")
            )
        if entered.get("kind") in tax.WITH_RATE:
            entered["reason"] = ""
        return entered

    def validate_constraints(self):
        """Skip it: the form has checked all that the database would."""


class TierForm(forms.ModelForm):
    """A different markup on more expensive parts."""

    percent = ExactFormField(
        label=gettext_lazy("Markup (%)"), places=2, max_value=Decimal(1000)
    )

    class Meta:
        model = MarkupTier
        fields = ["starts_at", "percent"]

    def __init__(self, *args, places, **kwargs):
        super().__init__(*args, **kwargs)
        min_cost = Decimal(1).scaleb(-places)
        self.fields["starts_at"] = MoneyFormField(
            label=gettext("Parts that cost at least"),
            min_value=min_cost,
            max_value=Decimal(1_000_000),
        )
        use_currency(self, places)

    def clean_starts_at(self):
        min_cost = self.cleaned_data["starts_at"]
        if MarkupTier.objects.filter(starts_at=min_cost).exists():
            raise ValidationError(
                gettext("A tier from this cost already exists. Remove it first.")
            )
        return min_cost


class SettingsForms:
    """All forms of the page, sent together so that no entry is lost."""

    def __init__(self, shop, *, on, data=None, files=None):
        more = {"empty_permitted": True, "use_required_attribute": False}
        entered = data or {}
        self.rate = RateForm(
            data if "rate-starts_on" in entered else None, prefix="rate", on=on, **more
        )
        self.tier = TierForm(
            data if "tier-starts_at" in entered else None,
            prefix="tier",
            places=shop.places,
            **more,
        )
        self.rule = TaxRuleForm(
            data if "rule-kind" in entered else None, prefix="rule", **more
        )
        known_kinds = set(TaxRate.objects.in_force(on))
        if self.rate.is_bound and self.rate.has_changed() and self.rate.is_valid():
            new = self.rate.cleaned_data
            known_kinds |= {new["kind"]} if new["starts_on"] <= on else set()
        self.rule.known_kinds = known_kinds
        self.shop = SettingsForm(data, files, instance=shop, known_kinds=known_kinds)
        self.added = [self.rate, self.rule, self.tier]

    def is_valid(self):
        bound = [form for form in self.added if form.is_bound]
        return all([form.is_valid() for form in (self.shop, *bound)])

    @transaction.atomic
    def save(self):
        self.shop.save()
        for form in self.added:
            if form.is_bound and form.has_changed():
                form.save()

    def groups(self, *, open_key=""):
        """Return the groups with their fields; those that need attention are open."""
        wrong = set(self.shop.errors)
        more_wrong = {
            "tax": self.rate.errors or self.rule.errors,
            "parts": self.tier.errors,
        }
        return [
            {
                "group": group,
                "fields": [self.shop[name] for name in group.names],
                "is_open": group.key == open_key
                or bool(wrong & set(group.names) or more_wrong.get(group.key)),
            }
            for group in GROUPS
        ]
