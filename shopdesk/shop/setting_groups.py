"""The groups of the settings page, in the order in which a new shop needs them."""

from dataclasses import dataclass

from shopdesk.plain_gettext import gettext_noop


@dataclass(frozen=True)
class SettingGroup:
    """`key` names it in addresses; `sentence` says what it is for."""

    key: str
    legend: str
    sentence: str
    names: tuple[str, ...]


STANDARD_TEXTS = (
    "slip_text",
    "quote_text",
    "acceptance_text",
    "invoice_text",
    "payment_text",
    "warranty_text",
    "reminder_text",
    "parcel_text",
)
GROUPS = (
    SettingGroup(
        "shop",
        gettext_noop("The shop"),
        gettext_noop("Shown at the top of every document."),
        (
            *("name", "address", "country", "time_zone", "phone", "email"),
            "other_contact",
        ),
    ),
    SettingGroup(
        "papers",
        gettext_noop("Documents"),
        gettext_noop(
            "How quotes, invoices and slips look. Issued documents do not change."
        ),
        ("logo", "letterhead", "paper", "paper_language"),
    ),
    SettingGroup(
        "currency",
        gettext_noop("Currency"),
        gettext_noop("The currency cannot be changed after the first amount."),
        ("currency", "locale", "cash_step"),
    ),
    SettingGroup(
        "tax",
        gettext_noop("Tax"),
        gettext_noop("Ask your tax adviser. Check local regulations."),
        ("tax_id", "tax_kind", "tax_name", "prices_include_tax"),
    ),
    SettingGroup(
        "prices",
        gettext_noop("Prices"),
        gettext_noop("Defaults for new quotes. Each can be changed on the quote."),
        (
            "hourly_rate",
            "hourly_cost",
            "minimum_minutes",
            "rounding_step",
            "target_margin",
            "diagnosis_fee",
            "return_shipping_price",
            "deducts_diagnosis_fee",
        ),
    ),
    SettingGroup(
        "parts",
        gettext_noop("Markup on parts"),
        gettext_noop(
            "How the price of a part is calculated from its cost if it has no"
            " fixed price."
        ),
        ("markup",),
    ),
    SettingGroup(
        "quotes",
        gettext_noop("Quotes"),
        gettext_noop("How long quotes are valid, and how customers can answer them."),
        (
            "quote_days",
            "link_days",
            "uses_repair_form",
            "emails_customer",
            "emails_shop",
        ),
    ),
    SettingGroup(
        "bills",
        gettext_noop("Invoices"),
        gettext_noop(
            "How invoices and credit notes are numbered and when they are due."
            " Numbers have"
            " no gaps; a new prefix starts at 1."
        ),
        (
            "invoice_series",
            "credit_series",
            "payment_term_days",
            "reminder_interval_days",
        ),
    ),
    SettingGroup(
        "cover",
        gettext_noop("Warranty"),
        gettext_noop(
            "Warranty days count from the day after handover. Legal rights apply in"
            " addition."
        ),
        ("warranty_days_lasting", "warranty_days_stopgap", "warranty_days_minimum"),
    ),
    SettingGroup(
        "comebacks",
        gettext_noop("Comebacks"),
        gettext_noop(
            "Settings of the monthly comeback report. Enter probabilities from 0 to 1."
        ),
        (
            "comeback_period_days",
            "max_comeback_risk",
            "verdict_confidence",
            "final_test_risk",
        ),
    ),
    SettingGroup(
        "costs",
        gettext_noop("Who sees costs"),
        gettext_noop(
            "Costs of parts and repairs, margins and comeback allowances. Owners"
            " always see"
            " them."
        ),
        ("counter_sees_costs", "bench_sees_costs"),
    ),
    SettingGroup(
        "sign_in",
        "Sign-in",
        gettext_noop("How owners prove who they are."),
        ("owners_need_second_factor",),
    ),
    SettingGroup(
        "personal_data",
        gettext_noop("Personal data"),
        gettext_noop(
            "What is deleted every night. Customers can be exempted on their page."
        ),
        (
            *("accounting_years", "code_days", "email_months", "photo_months"),
            "inactive_years",
        ),
    ),
    SettingGroup(
        "words",
        gettext_noop("Standard texts"),
        gettext_noop("Texts printed on customer documents."),
        STANDARD_TEXTS,
    ),
)
