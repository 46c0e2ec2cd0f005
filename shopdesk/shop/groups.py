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
            "labour_rate",
            "cost_rate",
            "minimum_minutes",
            "rounding_step",
            "target_margin",
            "diagnosis_fee",
            "parcel",
            "credits_fee",
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
            "tells_customer",
            "tells_shop",
        ),
    ),
    Group(
        "bills",
        "Bills",
        "How invoices and credit notes are numbered and when they are due. Numbers run"
        " without a gap; a new beginning starts at 1.",
        ("invoice_series", "credit_series", "pay_days", "remind_days"),
    ),
    Group(
        "cover",
        "Cover",
        "Days of cover count from the day after handing back. Rights by law come on"
        " top: check your local rules.",
        ("cover_lasting", "cover_stopgap", "cover_rest"),
    ),
    Group(
        "comebacks",
        "Comebacks",
        "By these the monthly table says which fix holds. A chance is between 0 and 1:"
        " 0.1 is one in ten.",
        ("watch_days", "return_limit", "sureness", "proof_risk"),
    ),
    Group(
        "words",
        "Words on papers",
        "Plain sentences that every customer gets.",
        (
            "slip_words",
            "quote_words",
            "yes_words",
            "invoice_words",
            "cover_words",
            "reminder_words",
            "parcel_words",
        ),
    ),
)

WORDS = {
    "slip_words": "At the foot of the claim slip.",
    "quote_words": "At the foot of every quote, such as how to pay a deposit.",
    "yes_words": (
        "In the letter that confirms a yes, such as a right to withdraw from it: check"
        " your local rules."
    ),
    "invoice_words": "At the foot of every invoice, such as your bank account.",
    "cover_words": "On the cover certificate, and on the invoice of covered work.",
    "reminder_words": "How a reminder begins; what is owed and since when follows.",
    "parcel_words": "On the note that travels with a device.",
}

LABELS = {
    "prices_include_tax": "Prices include tax",
    "credits_fee": "The fee for finding the fault comes off a paid repair",
    "uses_repair_form": "Offer the European Repair Information Form",
    "tells_customer": "Confirm a customer’s answer by mail",
    "tells_shop": "Tell us by mail when a customer answers",
    "slip_words": "On the claim slip",
    "quote_words": "On quotes",
    "yes_words": "In confirmations of a yes",
    "invoice_words": "On invoices",
    "cover_words": "On cover certificates",
    "reminder_words": "In reminders",
    "parcel_words": "In parcels",
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
    "credits_fee": "Whoever says yes to the repair does not pay for it twice.",
    "uses_repair_form": (
        "Directive (EU) 2024/1799: once given, its conditions hold for 30 days"
        " at least. Check your local rules."
    ),
    "tells_customer": (
        "What was agreed, with the quote enclosed. For a contract made at a distance"
        " this is often a duty (in the EU: Directive 2011/83/EU, Art. 8): check your"
        " local rules."
    ),
    "tells_shop": (
        "To the address of the shop, when a customer says yes or no by the link or on"
        " the counter’s screen."
    ),
    **WORDS,
}
