"""The groups of the shop's figures, in the order in which a new shop meets them."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Group:
    """`key` names it in addresses; `sentence` says what it is for."""

    key: str
    legend: str
    sentence: str
    names: tuple[str, ...]


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
        (
            "slip_text",
            "quote_text",
            "acceptance_text",
            "invoice_text",
            "warranty_text",
            "reminder_text",
            "parcel_text",
        ),
    ),
)

WORDS = {
    "slip_text": "At the foot of the claim slip.",
    "quote_text": "At the foot of every quote, such as how to pay a deposit.",
    "acceptance_text": (
        "In the letter that confirms a yes, such as a right to withdraw from it: check"
        " your local rules."
    ),
    "invoice_text": "At the foot of every invoice, such as your bank account.",
    "warranty_text": "On the cover certificate, and on the invoice of covered work.",
    "reminder_text": "How a reminder begins; what is owed and since when follows.",
    "parcel_text": "On the note that travels with a device.",
}

LABELS = {
    "prices_include_tax": "Prices include tax",
    "deducts_diagnosis_fee": "The fee for finding the fault comes off a paid repair",
    "uses_repair_form": "Offer the European Repair Information Form",
    "emails_customer": "Confirm a customer’s answer by mail",
    "emails_shop": "Tell us by mail when a customer answers",
    "slip_text": "On the claim slip",
    "quote_text": "On quotes",
    "acceptance_text": "In confirmations of a yes",
    "invoice_text": "On invoices",
    "warranty_text": "On cover certificates",
    "reminder_text": "In reminders",
    "parcel_text": "In parcels",
}
HELP = {
    "name": "As it must stand on bills.",
    "phone": "As customers dial it.",
    "email": "Letters to customers come from here.",
    "other_contact": "Such as a web page with a form.",
    "paper": "What lies in the printer.",
    "tax_id": "As it must stand on invoices.",
    "prices_include_tax": (
        "With the tick, what a customer is told is what a customer pays;"
        " the tax is split out of it."
    ),
    "deducts_diagnosis_fee": "Whoever says yes to the repair does not pay for it twice.",
    "uses_repair_form": (
        "Directive (EU) 2024/1799: once given, its conditions hold for 30 days"
        " at least. Check your local rules."
    ),
    "emails_customer": (
        "What was agreed, with the quote enclosed. For a contract made at a distance"
        " this is often a duty (in the EU: Directive 2011/83/EU, Art. 8): check your"
        " local rules."
    ),
    "emails_shop": (
        "To the address of the shop, when a customer says yes or no by the link or on"
        " the counter’s screen."
    ),
    **WORDS,
}
