"""What the owner fills in about the shop."""

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.db import transaction

from shopdesk.fields import (
    DayFormField,
    ExactFormField,
    MoneyFormField,
    WholeNumberField,
)
from shopdesk.shop import currencies, numbering, tax
from shopdesk.shop.fields import LinesField, LogoField, LogoInput, SeriesField
from shopdesk.shop.figures import GROUPS, HELP, LABELS, WORDS
from shopdesk.shop.models import MarkupTier, Series, Shop, TaxRate

MONEY = (
    "hourly_rate",
    "hourly_cost",
    "rounding_step",
    "diagnosis_fee",
    "parcel",
    "cash_step",
)


def chance(least="0.01", **kwargs):
    return ExactFormField(
        places=4, min_value=Decimal(least), max_value=Decimal("0.99"), **kwargs
    )


def money(label, help_text):
    return MoneyFormField(label=label, help_text=help_text, max_value=Decimal(100_000))


def days(label, help_text, *, least=0, most=3650):
    return WholeNumberField(
        label=label, help_text=help_text, min_value=least, max_value=most
    )


class FiguresForm(forms.ModelForm):
    """All that the shop decides for itself; `held` are the kinds of tax it has."""

    address = LinesField(most=6)
    country = forms.ChoiceField(
        choices=currencies.countries().items,
        help_text="Telephone numbers without a country are read as from here.",
    )
    logo = LogoField(
        required=False,
        widget=LogoInput(attrs={"accept": ".png,.jpg,.jpeg,.webp"}),
        help_text="PNG, JPEG or WebP of up to 2 MB. A wide one fits best.",
    )
    letterhead = LinesField(
        most=6,
        label="Lines under the name",
        help_text="Such as register, owner, bank account, opening hours.",
    )
    paper_language = forms.ChoiceField(
        label="Papers are written in",
        choices=currencies.PAPER_LANGUAGES.items,
        help_text="The fixed words of papers. What you write yourselves stays yours.",
    )
    currency = forms.ChoiceField(
        choices=lambda: [
            (c, f"{c} {name}") for c, name in currencies.currencies().items()
        ],
        help_text="ISO 4217.",
    )
    locale = forms.CharField(
        label="Numbers are written as in",
        max_length=12,
        widget=forms.TextInput(attrs={"class": "code w8"}),
        help_text="Language and country, such as en_GB, de_DE, fr_CH.",
    )
    cash_step = money(
        "Round cash to", "The smallest coin in use, such as 0.05; 0 rounds nothing."
    )
    tax_kind = forms.ChoiceField(
        label="Usual tax",
        choices=tax.KINDS,
        help_text="What a new line bears. A customer or a line may have another.",
    )
    hourly_rate = money("Price of an hour", "What the customer pays.")
    hourly_cost = money("Cost of an hour", "What an hour at the bench costs the shop.")
    minimum_minutes = days(
        "Least minutes charged", "A shorter repair is charged as this.", most=480
    )
    rounding_step = money(
        "Round labour to", "Labour is rounded to a multiple of this; 0 leaves it."
    )
    target_margin = ExactFormField(
        label="Margin aimed at in percent",
        places=2,
        max_value=Decimal(95),
        help_text="What shall be left of a price after costs and expected comebacks.",
    )
    markup = ExactFormField(
        label="Markup in percent",
        places=2,
        max_value=Decimal(1000),
        help_text="On the cost of the delivery, below the first band.",
    )
    diagnosis_fee = money(
        "Fee for finding the fault", "Offered when booking in; it may be waived."
    )
    parcel = money("Price of a parcel", "Packing and posting one device.")
    quote_days = days("A quote holds for days", "Then it runs out.", least=1, most=365)
    link_days = days(
        "A customer’s link works for days",
        "By it they read the quote, answer, and see where the device is.",
        least=1,
        most=730,
    )
    invoice_series = SeriesField(
        label="Invoice numbers begin with",
        help_text="Letters, digits and {yy} for the year.",
    )
    credit_series = SeriesField(
        label="Credit note numbers begin with",
        help_text="Another beginning than that of invoices.",
    )
    payment_term_days = days("A bill is due in days", "0: at once.", most=365)
    reminder_interval_days = days(
        "Days between reminders", "Of a bill that is still open.", least=1, most=365
    )
    warranty_days_lasting = days(
        "Days on a lasting fix", "Where a fix has no days of its own."
    )
    warranty_days_stopgap = days("Days on a stopgap", "Usually fewer.")
    warranty_days_minimum = days(
        "Least days after a covered redo",
        "The old cover runs on; it is never shorter than this.",
    )
    comeback_period_days = days(
        "A comeback counts within days",
        "Returns later than this are not held against the fix.",
        least=7,
        most=730,
    )
    max_comeback_risk = chance(
        label="Highest return risk we accept",
        help_text="A fix above this comes back too often.",
    )
    verdict_confidence = chance(
        "0.51",
        label="How sure a verdict must be",
        help_text="Higher: fewer false alarms, and more repairs needed to tell.",
    )
    final_test_risk = chance(
        label="Chance that an unmended device passes its proof run",
        help_text="Lower: longer proof runs.",
    )

    class Meta:
        model = Shop
        # The logo is kept by hand: it comes as a file and is kept as bytes.
        fields = [n for group in GROUPS for n in group.names if n != "logo"]
        widgets = {
            "name": forms.TextInput(attrs={"class": "w20"}),
            "email": forms.EmailInput(attrs={"class": "w20"}),
            "phone": forms.TextInput(attrs={"class": "w20", "autocomplete": "tel"}),
            "other_contact": forms.TextInput(attrs={"class": "w20"}),
            "tax_id": forms.TextInput(attrs={"class": "code w20"}),
            **{name: forms.Textarea(attrs={"rows": 3}) for name in WORDS},
        }
        labels = LABELS
        help_texts = HELP

    def __init__(self, *args, held=frozenset(tax.UNSAID), **kwargs):
        super().__init__(*args, **kwargs)
        self.held = held
        self.order_fields([name for group in GROUPS for name in group.names])
        self.fields["logo"].widget.shown = self.instance.logo_inline
        for name in MONEY:
            self.fields[name].shown = currencies.places(self.instance.currency)

    def clean_tax_kind(self):
        kind = self.cleaned_data["tax_kind"]
        if kind not in self.held:
            raise ValidationError(
                f"Write down below what the {tax.LABELS[kind]} is, from a day that is"
                " not to come."
            )
        return kind

    def clean(self):
        told = super().clean()
        currency = told.get("currency")
        if currency:
            self.check_locale(told, currency)
            self.check_decimals(told, currency)
        self.check_series(told)
        if self.errors and told.get("logo"):
            self.add_error(
                "logo",
                "Choose the picture once more: a page can’t keep it while something"
                " else is wrong.",
            )
        return told

    def check_locale(self, told, currency):
        locale = told.get("locale")
        if locale and currencies.sample(currency, locale=locale) is None:
            self.add_error(
                "locale", "No such language and country: write it like en_GB."
            )

    def check_decimals(self, told, currency):
        places = currencies.places(currency)
        for name in MONEY:
            amount = told.get(name)
            if amount is not None and amount != round(amount, places):
                self.add_error(
                    name, ValidationError(f"{currency} has {places} decimals.")
                )

    def check_series(self, told):
        """Two papers never share a number, in this year or in any other."""
        own, other = told.get("invoice_series"), told.get("credit_series")
        if own and other and numbering.ever_named(own) & numbering.ever_named(other):
            self.add_error(
                "credit_series", "Invoices begin like this: choose another beginning."
            )
        for name, pattern, kind in (
            ("invoice_series", own, numbering.INVOICES),
            ("credit_series", other, numbering.CREDITS),
        ):
            taken = Series.objects.filter(
                name__in=numbering.ever_named(pattern) if pattern else [], last__gt=0
            ).exclude(kind=kind)
            for one in taken[:1]:
                self.add_error(
                    name,
                    f"{one.name} numbers {numbering.CALLED.get(one.kind, one.kind)}"
                    " already: choose another beginning.",
                )

    def save(self, commit=True):
        picture = self.cleaned_data.get("logo")
        if picture is not None:
            self.instance.logo = picture or None
        return super().save(commit)


class RateForm(forms.ModelForm):
    """A rate that takes the place of the one before, from a day on."""

    rate = ExactFormField(
        label="Percent",
        required=False,
        max_value=Decimal(100),
        help_text="Empty where there is no tax.",
    )
    starts_on = DayFormField(label="Holds from")
    reason = forms.CharField(
        label="Why there is no tax",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"class": "w20"}),
        help_text="Stands on papers where no tax is charged.",
    )

    class Meta:
        model = TaxRate
        fields = ["kind", "rate", "starts_on", "reason"]
        labels = {"kind": "Kind"}

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on
        self.fields["kind"].choices = [
            pair for pair in tax.KINDS if pair[0] != tax.ZERO
        ]
        # The empty record's own values would count as typed.
        self.initial = {"kind": tax.STANDARD}

    def clean(self):
        told = super().clean()
        kind, rate = told.get("kind"), told.get("rate")
        if kind in tax.WITH_RATE:
            told["reason"] = ""
            if not rate and "rate" in told:
                self.add_error("rate", f"Write the percent of the {tax.LABELS[kind]}.")
        elif kind:
            if rate:
                self.add_error("rate", f"“{tax.LABELS[kind]}” is always 0 %.")
            if not told.get("reason") and "reason" in told:
                self.add_error("reason", "Say why; papers and e-invoices ask for it.")
        told["rate"] = rate or Decimal(0)
        if kind and told.get("starts_on"):
            self.check_day(kind, told["starts_on"])
        return told

    def validate_constraints(self):
        """The fields have said all that the database would say."""

    def check_day(self, kind, starts_on):
        """What has held stays on record: a rate only gets a successor."""
        last = TaxRate.objects.filter(kind=kind).first()
        if last is None or starts_on > last.starts_on:
            return
        if starts_on == last.starts_on >= self.on:
            # Nobody can have relied on it yet: it was a slip of the pen.
            self.instance.pk = last.pk
            self.instance._state.adding = False
            return
        self.add_error(
            "starts_on",
            f"{last} holds from {last.starts_on} and stays on record: a new one begins"
            " on a later day.",
        )


class BandForm(forms.ModelForm):
    """Another markup on dearer parts."""

    percent = ExactFormField(
        label="Markup in percent", places=2, max_value=Decimal(1000)
    )

    class Meta:
        model = MarkupTier
        fields = ["starts_at", "percent"]

    def __init__(self, *args, places, **kwargs):
        super().__init__(*args, **kwargs)
        least = Decimal(1).scaleb(-places)
        self.fields["starts_at"] = MoneyFormField(
            label="Parts that cost at least",
            places=places,
            min_value=least,
            max_value=Decimal(1_000_000),
        )

    def clean_starts_at(self):
        least = self.cleaned_data["starts_at"]
        if MarkupTier.objects.filter(starts_at=least).exists():
            raise ValidationError(
                "There is a band from this cost already: remove that one first."
            )
        return least


class Figures:
    """All forms of the page, sent together so that nothing typed is lost."""

    def __init__(self, shop, *, on, data=None, files=None):
        more = {"empty_permitted": True, "use_required_attribute": False}
        told = data or {}
        self.rate = RateForm(
            data if "rate-starts_on" in told else None, prefix="rate", on=on, **more
        )
        self.band = BandForm(
            data if "band-starts_at" in told else None,
            prefix="band",
            places=shop.places,
            **more,
        )
        held = set(TaxRate.objects.holding(on))
        if self.rate.is_bound and self.rate.has_changed() and self.rate.is_valid():
            new = self.rate.cleaned_data
            held |= {new["kind"]} if new["starts_on"] <= on else set()
        self.shop = FiguresForm(data, files, instance=shop, held=held)
        self.added = [self.rate, self.band]

    def is_valid(self):
        bound = [form for form in self.added if form.is_bound]
        return all([form.is_valid() for form in (self.shop, *bound)])

    @transaction.atomic
    def save(self):
        self.shop.save()
        for form in self.added:
            if form.is_bound and form.has_changed():
                form.save()

    def groups(self, *, asked=""):
        """The groups with their boxes; those that must be seen at once are open."""
        wrong = set(self.shop.errors)
        more_wrong = {"tax": self.rate.errors, "parts": self.band.errors}
        return [
            {
                "group": group,
                "fields": [self.shop[name] for name in group.names],
                "is_open": group.key == asked
                or bool(wrong & set(group.names) or more_wrong.get(group.key)),
            }
            for group in GROUPS
        ]
