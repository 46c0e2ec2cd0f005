"""The groups of the shop's figures, in the order in which a new shop meets them."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Group:
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
    "warranty_text",
    "reminder_text",
    "parcel_text",
)
GROUPS = (
    Group(
        "shop",
        "The shop",
        "What stands at the head of every paper, and how customers reach you.",
        ("name", "address", "country", "phone", "email", "other_contact"),
    ),
    Group(
        "papers",
        "Papers",
        "How quotes, invoices and slips look. Papers already given out stay as they"
        " are.",
        ("logo", "letterhead", "paper", "paper_language"),
    ),
    Group(
        "currency",
        "Currency",
        "Choose it before the first job: amounts already written keep their figures.",
        ("currency", "locale", "cash_step"),
    ),
    Group(
        "tax",
        "Tax",
        "What holds where you are is for you and your adviser: check your local rules.",
        ("tax_id", "tax_kind", "prices_include_tax"),
    ),
    Group(
        "prices",
        "Prices",
        "A quote is made from these; each of its figures can still be changed.",
        (
            "hourly_rate",
            "hourly_cost",
            "minimum_minutes",
            "rounding_step",
            "target_margin",
            "diagnosis_fee",
            "parcel",
            "deducts_diagnosis_fee",
        ),
    ),
    Group(
        "parts",
        "Markup on parts",
        "How the price of a part is made from its cost, where it has no price of its"
        " own.",
        ("markup",),
    ),
    Group(
        "quotes",
        "Quotes",
        "What an offer promises, and how customers may answer it.",
        (
            "quote_days",
            "link_days",
            "uses_repair_form",
            "emails_customer",
            "emails_shop",
        ),
    ),
    Group(
        "bills",
        "Bills",
        "How invoices and credit notes are numbered and when they are due. Numbers run"
        " without a gap; a new beginning starts at 1.",
        (
            "invoice_series",
            "credit_series",
            "payment_term_days",
            "reminder_interval_days",
        ),
    ),
    Group(
        "cover",
        "Cover",
        "Days of cover count from the day after handing back. Rights by law come on"
        " top: check your local rules.",
        ("warranty_days_lasting", "warranty_days_stopgap", "warranty_days_minimum"),
    ),
    Group(
        "comebacks",
        "Comebacks",
        "By these the monthly table says which fix holds. A chance is between 0 and 1:"
        " 0.1 is one in ten.",
        (
            "comeback_period_days",
            "max_comeback_risk",
            "verdict_confidence",
            "final_test_risk",
        ),
    ),
    Group(
        "words",
        "Words on papers",
        "Plain sentences that every customer gets.",
        STANDARD_TEXTS,
    ),
)
