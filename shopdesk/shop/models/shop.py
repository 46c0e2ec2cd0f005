"""The settings of the shop: one record.

Labels, help and limits of the settings page are declared here, with their fields.
"""

from base64 import b64encode
from datetime import date
from decimal import Decimal

from django.db import connection, models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy

from shopdesk.fields import FixedDecimalField, MoneyField, SmallNumberField
from shopdesk.recording.recorded import Recorded
from shopdesk.shop import currencies, tax
from shopdesk.shop.models.rates import MarkupTier, TaxRate, TaxRule
from shopdesk.shop.price_list import NO_TAX, ChargeRates, Markups


def amount_setting(label, **options):
    return MoneyField(label, max_value=Decimal(100_000), **options)


def probability_setting(label, *, min_value=Decimal("0.01"), **options):
    return FixedDecimalField(
        label, places=4, min_value=min_value, max_value=Decimal("0.99"), **options
    )


def standard_text(label, *, default="", **options):
    return models.TextField(
        label, max_length=2000, blank=True, default=default, **options
    )


class Shop(Recorded):
    """Name, rates, terms and texts of the shop; there is exactly one record."""

    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Letter", gettext_lazy("US Letter")

    name = models.CharField(
        gettext_lazy("Name"),
        max_length=80,
        default="My repair shop",
        help_text=gettext_lazy("As required on invoices."),
    )
    address = models.TextField(gettext_lazy("Address"), max_length=300, blank=True)
    country = models.CharField(
        gettext_lazy("Country"),
        max_length=2,
        default="GB",
        help_text=gettext_lazy(
            "Phone numbers without a country code are numbers of this country."
        ),
    )
    phone = models.CharField(
        gettext_lazy("Phone"),
        max_length=32,
        blank=True,
        help_text=gettext_lazy("Including area code."),
    )
    email = models.EmailField(
        gettext_lazy("Email"),
        blank=True,
        help_text=gettext_lazy("Emails to customers are sent from this address."),
    )
    other_contact = models.CharField(
        gettext_lazy("Other contact"),
        max_length=120,
        blank=True,
        help_text=gettext_lazy("For example: a web page with a contact form."),
    )

    logo = models.BinaryField(gettext_lazy("Logo"), null=True, editable=False)
    letterhead = models.TextField(
        gettext_lazy("Lines under the name"),
        max_length=300,
        blank=True,
        help_text=gettext_lazy(
            "For example: register entry, bank account, opening hours."
        ),
    )
    paper = models.CharField(
        gettext_lazy("Paper size"),
        max_length=6,
        choices=Paper,
        default=Paper.A4,
        help_text=gettext_lazy("Paper size in the printer."),
    )
    paper_language = models.CharField(
        gettext_lazy("Document language"),
        max_length=5,
        default="en",
        help_text=gettext_lazy(
            "Language of the fixed texts. Your own texts are not translated."
        ),
    )

    currency = models.CharField(
        gettext_lazy("Currency"),
        max_length=3,
        default="EUR",
        help_text=gettext_lazy("ISO 4217 code."),
    )
    locale = models.CharField(
        gettext_lazy("Number format"),
        max_length=12,
        default="en_GB",
        help_text=gettext_lazy(
            "Language and country. For example: en_GB, de_DE, fr_CH."
        ),
    )
    time_zone = models.CharField(
        gettext_lazy("Time zone"),
        max_length=40,
        blank=True,
        default="",
        help_text=gettext_lazy(
            "Decides when a day ends. Blank: the time zone of the server."
        ),
    )
    cash_step = amount_setting(
        gettext_lazy("Cash rounding"),
        default=Decimal(0),
        help_text=gettext_lazy(
            "The smallest coin in use, for example 0.05. 0: no rounding."
        ),
    )

    tax_id = models.CharField(
        gettext_lazy("Tax number"),
        max_length=40,
        blank=True,
        help_text=gettext_lazy("As required on invoices."),
    )
    tax_kind = models.CharField(
        gettext_lazy("Usual tax"),
        max_length=8,
        choices=tax.KINDS,
        default=tax.STANDARD,
        help_text=gettext_lazy(
            "For all that no rule below is about. Lines may differ."
        ),
    )
    tax_name = models.CharField(
        gettext_lazy("Name of the tax"),
        max_length=20,
        blank=True,
        default="",
        help_text=gettext_lazy("As printed on documents, such as VAT. Blank: Tax."),
    )
    prices_include_tax = models.BooleanField(
        gettext_lazy("Prices include tax"),
        default=False,
        help_text=gettext_lazy("If ticked, prices are entered including tax."),
    )

    hourly_rate = amount_setting(
        gettext_lazy("Hourly rate"),
        default=Decimal(68),
        help_text=gettext_lazy("Charged to the customer."),
    )
    hourly_cost = amount_setting(
        gettext_lazy("Hourly cost to the shop"),
        default=Decimal(34),
        help_text=gettext_lazy("Cost of one hour at the bench."),
    )
    minimum_minutes = SmallNumberField(
        gettext_lazy("Minimum minutes charged"),
        default=15,
        max_value=480,
        help_text=gettext_lazy("A shorter repair is charged as this many minutes."),
    )
    rounding_step = amount_setting(
        gettext_lazy("Labour rounding"),
        default=Decimal("0.50"),
        help_text=gettext_lazy(
            "Labour is rounded to a multiple of this. 0: no rounding."
        ),
    )
    target_margin = FixedDecimalField(
        gettext_lazy("Target margin (%)"),
        default=Decimal(15),
        places=2,
        max_value=Decimal(95),
        help_text=gettext_lazy(
            "Share of a price left after costs and expected comebacks."
        ),
    )
    diagnosis_fee = amount_setting(
        gettext_lazy("Diagnosis fee"),
        default=Decimal(25),
        help_text=gettext_lazy("Suggested when booking in. It can be waived."),
    )
    return_shipping_price = amount_setting(
        gettext_lazy("Return shipping price"),
        default=Decimal(9),
        help_text=gettext_lazy("Packing and shipping one device."),
    )
    deducts_diagnosis_fee = models.BooleanField(
        gettext_lazy("Deduct the diagnosis fee from a paid repair"),
        default=False,
        help_text=gettext_lazy(
            "The fee is deducted if the customer accepts the repair."
        ),
    )
    markup = FixedDecimalField(
        gettext_lazy("Markup on parts (%)"),
        default=Decimal(60),
        places=2,
        max_value=Decimal(1000),
        help_text=gettext_lazy(
            "Applied to the unit cost of the delivery, below the first tier."
        ),
    )

    quote_days = SmallNumberField(
        gettext_lazy("Quote validity (days)"),
        default=30,
        min_value=1,
        max_value=365,
        help_text=gettext_lazy("After that it expires."),
    )
    link_days = SmallNumberField(
        gettext_lazy("Customer link validity (days)"),
        default=90,
        min_value=1,
        max_value=730,
        help_text=gettext_lazy(
            "Customers read and answer the quote and see the repair status."
        ),
    )
    counter_sees_costs = models.BooleanField(
        gettext_lazy("Counter sees costs"),
        default=False,
        help_text=gettext_lazy(
            "If not ticked, the counter receives deliveries without their cost."
        ),
    )
    bench_sees_costs = models.BooleanField(
        gettext_lazy("Bench sees costs"),
        default=True,
        help_text=gettext_lazy(
            "If not ticked, fixes are compared by price and risk alone."
        ),
    )
    owners_need_second_factor = models.BooleanField(
        gettext_lazy("Owners need a second factor"),
        default=True,
        help_text=(
            gettext_lazy(
                "A code from an app, besides the password."
                " An owner may postpone setting it"
                " up for 7 days."
            )
        ),
    )
    uses_repair_form = models.BooleanField(
        gettext_lazy("Offer the European Repair Information Form"),
        default=False,
        help_text=(
            gettext_lazy(
                "Directive (EU) 2024/1799: once issued,"
                " its conditions are binding for at"
                " least 30 days. Check local regulations."
            )
        ),
    )
    emails_customer = models.BooleanField(
        gettext_lazy("Confirm a customer’s answer by email"),
        default=True,
        help_text=(
            gettext_lazy(
                "What was agreed, with the quote attached. Often required for distance"
                " contracts (in the EU: Directive 2011/83/EU, Art. 8). Check local"
                " regulations."
            )
        ),
    )
    emails_shop = models.BooleanField(
        gettext_lazy("Notify us by email when a customer answers"),
        default=True,
        help_text=(
            gettext_lazy(
                "Sent to the shop’s address when a"
                " customer accepts or declines by link or"
                " on the counter’s screen."
            )
        ),
    )

    invoice_series = models.CharField(
        gettext_lazy("Invoice number prefix"),
        max_length=8,
        default="INV{yy}",
        help_text=gettext_lazy("Letters, digits and {yy} for the year."),
    )
    credit_series = models.CharField(
        gettext_lazy("Credit note number prefix"),
        max_length=8,
        default="CN{yy}",
        help_text=gettext_lazy("Must differ from the invoice prefix."),
    )
    payment_term_days = SmallNumberField(
        gettext_lazy("Payment term (days)"),
        default=14,
        max_value=365,
        help_text=gettext_lazy("0: due immediately."),
    )
    reminder_interval_days = SmallNumberField(
        gettext_lazy("Days between reminders"),
        default=10,
        min_value=1,
        max_value=365,
        help_text=gettext_lazy("While an invoice is unpaid."),
    )

    warranty_days_lasting = SmallNumberField(
        gettext_lazy("Warranty for a lasting fix (days)"),
        default=180,
        max_value=3650,
        help_text=gettext_lazy("Used if a fix has no days of its own."),
    )
    warranty_days_stopgap = SmallNumberField(
        gettext_lazy("Warranty for a stopgap (days)"),
        default=30,
        max_value=3650,
        help_text=gettext_lazy("Usually fewer than for a lasting fix."),
    )
    warranty_days_minimum = SmallNumberField(
        gettext_lazy("Minimum warranty after a warranty repair (days)"),
        default=30,
        max_value=3650,
        help_text=gettext_lazy(
            "The earlier warranty continues, but for at least this many days."
        ),
    )

    comeback_period_days = SmallNumberField(
        gettext_lazy("Comeback period (days)"),
        default=90,
        min_value=7,
        max_value=730,
        help_text=gettext_lazy("Later returns are not counted as comebacks."),
    )
    max_comeback_risk = probability_setting(
        gettext_lazy("Comeback limit"),
        default=Decimal("0.1"),
        help_text=gettext_lazy(
            "Highest comeback risk that the shop accepts for a fix."
        ),
    )
    verdict_confidence = probability_setting(
        gettext_lazy("Confidence required"),
        default=Decimal("0.9"),
        min_value=Decimal("0.51"),
        help_text=gettext_lazy(
            "Higher: fewer false alarms, but a verdict needs more repairs."
        ),
    )
    final_test_risk = probability_setting(
        gettext_lazy("Accepted chance that a faulty device passes the final test"),
        default=Decimal("0.05"),
        help_text=gettext_lazy("Lower: longer final tests."),
    )

    accounting_years = SmallNumberField(
        gettext_lazy("Keep invoices of erased customers (years)"),
        default=10,
        min_value=1,
        max_value=30,
        help_text=(
            gettext_lazy(
                "Counted from the end of the calendar year. Check your local rules."
            )
        ),
    )
    code_days = SmallNumberField(
        gettext_lazy("Delete access codes after (days)"),
        default=30,
        min_value=1,
        max_value=365,
        help_text=gettext_lazy(
            "From the day the job is ready. At handover they are always deleted."
        ),
    )
    email_months = SmallNumberField(
        gettext_lazy("Delete emails after (months)"),
        null=True,
        blank=True,
        default=None,
        min_value=1,
        max_value=360,
        help_text=gettext_lazy(
            "Blank: emails are kept. Those still waiting are never deleted."
        ),
    )
    photo_months = SmallNumberField(
        gettext_lazy("Delete photos after (months)"),
        null=True,
        blank=True,
        default=None,
        min_value=1,
        max_value=360,
        help_text=gettext_lazy("From handover of the device. Blank: photos are kept."),
    )
    inactive_years = SmallNumberField(
        gettext_lazy("Erase customers after (years)"),
        null=True,
        blank=True,
        default=None,
        min_value=1,
        max_value=30,
        help_text=gettext_lazy("Without a visit. Blank: customers are kept."),
    )

    slip_text = standard_text(
        gettext_lazy("On the claim slip"),
        default=(
            "Please bring this slip when you collect the device. We access your data"
            " only if you allowed it and only as far as the repair needs it. Data can"
            " be lost during a repair: keep a copy."
        ),
        help_text=gettext_lazy("Printed at the bottom of the claim slip."),
    )
    quote_text = standard_text(
        gettext_lazy("On quotes"),
        help_text=(
            gettext_lazy(
                "Printed at the bottom of every quote. For"
                " example: how to pay a deposit."
            )
        ),
    )
    acceptance_text = standard_text(
        gettext_lazy("In confirmations of acceptance"),
        help_text=(
            gettext_lazy(
                "In the email that confirms an acceptance. For example: a right of"
                " withdrawal. Check local regulations."
            )
        ),
    )
    invoice_text = standard_text(
        gettext_lazy("On invoices"),
        help_text=(
            gettext_lazy(
                "Printed at the bottom of every invoice,"
                " paid or not. For example: opening"
                " hours."
            )
        ),
    )
    payment_text = standard_text(
        gettext_lazy("How to pay"),
        help_text=(
            gettext_lazy(
                "Printed on invoices that are not paid yet."
                " For example: your bank account."
            )
        ),
    )
    warranty_text = standard_text(
        gettext_lazy("On warranty certificates"),
        default=(
            "This warranty covers the repaired fault. It ends if the device was opened"
            " by others, dropped or exposed to liquid. Your legal rights are not"
            " affected."
        ),
        help_text=gettext_lazy(
            "On the warranty certificate, and on the invoice of the repair."
        ),
    )
    reminder_text = standard_text(
        gettext_lazy("In reminders"),
        default="Our records show that this invoice is still unpaid.",
        help_text=gettext_lazy(
            "First sentence of a reminder. The amount and its due date follow."
        ),
    )
    parcel_text = standard_text(
        gettext_lazy("In parcels"),
        help_text=gettext_lazy("On the packing slip that travels with a device."),
    )

    # The day on which the owner said what invoices need; see `shop.setting_up`.
    set_up_on = models.DateField(null=True, editable=False)

    # When the shop was last used, as far as its clock was believed; see `shop.clock`.
    clock_seen_at = models.DateTimeField(null=True, editable=False)
    clock_doubted_since = models.DateTimeField(
        gettext_lazy("clock doubted since"), null=True, editable=False
    )

    unrecorded = frozenset({"clock_seen_at"})
    costs = frozenset({"hourly_cost", "target_margin", "markup"})

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="shop_is_one"),
            models.CheckConstraint(
                condition=Q(
                    target_margin__gte=0,
                    target_margin__lt=100,
                    hourly_rate__gte=0,
                    hourly_cost__gte=0,
                    rounding_step__gte=0,
                    markup__gte=0,
                    diagnosis_fee__gte=0,
                    return_shipping_price__gte=0,
                    cash_step__gte=0,
                ),
                name="shop_amounts_make_sense",
            ),
            models.CheckConstraint(
                condition=Q(
                    max_comeback_risk__gt=0,
                    max_comeback_risk__lt=1,
                    verdict_confidence__gt=Decimal("0.5"),
                    verdict_confidence__lt=1,
                    final_test_risk__gt=0,
                    final_test_risk__lt=1,
                ),
                name="shop_chances_make_sense",
            ),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("shop:settings")

    @classmethod
    def current(cls) -> "Shop":
        """Return the shop's settings; the defaults if nothing was saved yet.

        Its logo is loaded only where it is shown.
        """
        return cls.objects.defer("logo").filter(pk=1).first() or cls(pk=1)

    @classmethod
    def has_records(cls) -> bool:
        """Whether the database was set up at all; commands ask before they begin."""
        return cls._meta.db_table in connection.introspection.table_names()

    def latest_day(self, on: date) -> date:
        """Return the day `on`, or a later one on which the shop was in use already.

        What has expired by then stays so when the clock is set back.
        """
        seen = self.clock_seen_at
        return max(on, timezone.localdate(seen)) if seen else on

    @property
    def phone_country(self) -> str:
        """Return the country of numbers without a country code; "" if nobody said."""
        is_chosen = self.set_up_on is not None or self._state.adding
        return self.country if is_chosen else ""

    @property
    def places(self) -> int:
        """Return the decimals of the currency (ISO 4217)."""
        return currencies.places(self.currency)

    @property
    def logo_inline(self) -> str:
        """Return the logo as a data URL, so that nothing is fetched for it."""
        if not self.logo:
            return ""
        return f"data:image/png;base64,{b64encode(bytes(self.logo)).decode()}"

    def tax_rules(self, on: date) -> tax.TaxRules:
        """Return what the tax on a line usually is, with the rates of that day."""
        return tax.TaxRules(
            self.tax_kind,
            TaxRate.objects.in_force(on),
            tuple(rule.as_rule() for rule in TaxRule.objects.all()),
        )

    def included_tax(self, on: date, buyer: tax.Buyer) -> dict[str, Decimal]:
        """Return the rate in percent that the price of labour, part and fee includes.

        All are 0 if prices include no tax.
        """
        if not self.prices_include_tax:
            return NO_TAX
        rules = self.tax_rules(on)
        return {sold: rules.of(sold, buyer).rate for sold, _ in tax.SOLD}

    def markups(self) -> Markups:
        """Return the markups on the cost of parts, including the tiers."""
        tiers = MarkupTier.objects.order_by("starts_at")
        return Markups(
            self.markup,
            tuple(tiers.values_list("starts_at", "percent")),
            places=self.places,
        )

    def rates(self) -> ChargeRates:
        """Return what labour and parts are charged by."""
        return ChargeRates(
            hourly_rate=self.hourly_rate,
            minimum_minutes=self.minimum_minutes,
            step=self.rounding_step,
            markups=self.markups(),
            places=self.places,
        )

    def warranty_days(self, fix_type: str) -> int:
        """Return the warranty days of a lasting repair or a stopgap."""
        return (
            self.warranty_days_stopgap
            if fix_type == "stopgap"
            else self.warranty_days_lasting
        )
