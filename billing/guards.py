"""The records of billing that the database refuses to change."""

from repairs.guards import ERASED_JOB, customer_is_erased, moves_with_merge
from shopdesk.triggers import ForbidChange, append_only, changed, erases

EXTRA_WORK = "Extra work cannot be changed. Add more extra work."
SENT = "A sent quote cannot be changed. Revise it."


def _quote_of(row: str) -> str:
    return (
        "(SELECT state FROM billing_quote WHERE id ="
        " (SELECT quote_id FROM billing_quoteoption"
        f" WHERE id = {row}.option_id)) <> 'draft'"
    )


def _quote(row: str) -> str:
    return f"(SELECT state FROM billing_quote WHERE id = {row}.quote_id) <> 'draft'"


# The columns of a line apart from its text.
LINE = "id position kind quantity price amount tax_kind tax_rate tax_reason"


def _erased_by(column: str, path: str) -> str:
    """Return a condition: the customer of the row that `column` leads to is erased."""
    return customer_is_erased(path.format(f"OLD.{column}"))


JOB_OF_QUOTE = "(SELECT job_id FROM billing_quote WHERE id = {})"
JOB_OF_OPTION = JOB_OF_QUOTE.format(
    "(SELECT quote_id FROM billing_quoteoption WHERE id = {})"
)
JOB_OF_CHANGE = JOB_OF_QUOTE.format(
    "(SELECT quote_id FROM billing_changeorder WHERE id = {})"
)
JOB_OF_INVOICE = "(SELECT job_id FROM billing_invoice WHERE id = {})"
JOB_OF_PAYMENT = "(SELECT job_id FROM billing_payment WHERE id = {})"
DAY_OF_INVOICE = "(SELECT issued_on FROM billing_invoice WHERE id = OLD.invoice_id)"
DAY_OF_PAYMENT = "(SELECT booked_on FROM billing_payment WHERE id = OLD.payment_id)"


def _year(day: str) -> str:
    return f"CAST(substr(CAST({day} AS TEXT), 1, 4) AS INTEGER)"


def _after_the_legal_period(day: str, of: str) -> str:
    """Return a condition: of an erased customer, and no law asks for it any more."""
    # Without a shop there would be no number, and NULL would allow anything.
    years = "coalesce((SELECT accounting_years FROM shopdesk_shop), 9999)"
    return f"{of} AND {_year(day)} + {years} < {_year('CURRENT_DATE')}"


def _only_moves_with_merge(others: str) -> str:
    """Return a condition: only the fix changes, to the one it was merged into.

    `others` are all other columns of the table, which must stay as they are.
    """
    return f"NOT {changed(*others.split())} AND {moves_with_merge('fix')}"


QUOTE_ERASED = erases(
    "findings answer_why answered_by pdf",
    others="id job_id version state valid_until prices_include_tax currency made_at"
    " made_by_id sent_at accepted_option_id answered_at answered_how pdf_sha256",
    of=ERASED_JOB,
)
OPTION_TEXTS = "title description track_record price_reason"
OPTION = (
    "id quote_id position repair_id fix_type warranty_days turnaround_days work_kind"
    " planned_minutes own_cost rework_cost chance comeback_allowance list_price"
    " min_price"
)
OPTION_ERASED = erases(
    OPTION_TEXTS,
    others=f"{OPTION} fix_id",
    of=_erased_by("quote_id", JOB_OF_QUOTE),
)
OPTION_MERGED = _only_moves_with_merge(f"{OPTION} {OPTION_TEXTS}")
QUOTE_LINE = f"{LINE} option_id part_id repair_id suggested"
QUOTE_LINE_ERASED = erases(
    "text",
    others=f"{QUOTE_LINE} fix_id",
    of=_erased_by("option_id", JOB_OF_OPTION),
)
QUOTE_LINE_MERGED = _only_moves_with_merge(f"{QUOTE_LINE} text")
FORM_ERASED = erases(
    "defect measures price_rule place extras_json more pdf accepted_by",
    others="id job_id number option_id mode price max_price days has_replacement"
    " replacement_cost valid_days made_at made_by_id issued_at issued_by_id"
    " valid_until pdf_sha256 accepted_at accepted_how",
    of=ERASED_JOB,
)
PARCEL_ERASED = erases(
    'number "to" pdf',
    others="id job_id carrier grams battery sent_on sent_by_id pdf_sha256",
    of=ERASED_JOB,
)
# A merge of two customers moves their jobs, and each invoice with its job.
INVOICE_OTHERS = (
    "id pdf_sha256 series number kind job_id quote_id credits_id buyer_country"
    " seller_name seller_address seller_country seller_tax_id issued_on supplied_on"
    " due_on issued_by_id currency prices_include_tax net tax gross is_whole"
    " deposits_used paid_with_it rounding means einvoice"
)
INVOICE_PERSONAL = "buyer_name buyer_address buyer_tax_id text pdf"
INVOICE_ERASED = erases(
    INVOICE_PERSONAL,
    others=f"{INVOICE_OTHERS} customer_id",
    of=_after_the_legal_period("OLD.issued_on", ERASED_JOB),
)
INVOICE_MOVED = (
    f"NOT {changed(*INVOICE_OTHERS.split(), *INVOICE_PERSONAL.split())}"
    " AND NEW.customer_id ="
    " (SELECT customer_id FROM repairs_job WHERE id = OLD.job_id)"
)

CREDIT_IT = "An invoice cannot be changed. Create a credit note."
ISSUED = "An issued form cannot be changed. Create another one."


def _issued() -> str:
    """Once issued, only the customer's acceptance is added, and once."""
    frozen = changed(
        "job_id",
        "number",
        "option_id",
        "defect",
        "measures",
        "mode",
        "price",
        "price_rule",
        "max_price",
        "days",
        "has_replacement",
        "replacement_cost",
        "place",
        "extras_json",
        "valid_days",
        "more",
        "issued_at",
        "valid_until",
        "pdf",
        "pdf_sha256",
    )
    answered = changed("accepted_at", "accepted_by", "accepted_how")
    return (
        f"OLD.issued_at IS NOT NULL AND ({frozen}"
        f" OR (OLD.accepted_at IS NOT NULL AND {answered}))"
    )


GUARDS = [
    ForbidChange(
        "billing_quote",
        "UPDATE",
        SENT,
        f"OLD.state <> 'draft' AND NOT ({QUOTE_ERASED}) AND "
        + changed(
            "job_id",
            "version",
            "findings",
            "valid_until",
            "prices_include_tax",
            "currency",
            "sent_at",
            "pdf",
            "pdf_sha256",
        ),
    ),
    ForbidChange("billing_quote", "DELETE", SENT, "OLD.state <> 'draft'"),
    ForbidChange("billing_quoteoption", "INSERT", SENT, _quote("NEW")),
    ForbidChange(
        "billing_quoteoption",
        "UPDATE",
        SENT,
        f"{_quote('OLD')} AND NOT ({OPTION_ERASED}) AND NOT ({OPTION_MERGED})",
    ),
    ForbidChange("billing_quoteoption", "DELETE", SENT, _quote("OLD")),
    ForbidChange("billing_quoteline", "INSERT", SENT, _quote_of("NEW")),
    ForbidChange(
        "billing_quoteline",
        "UPDATE",
        SENT,
        f"{_quote_of('OLD')} AND NOT ({QUOTE_LINE_ERASED})"
        f" AND NOT ({QUOTE_LINE_MERGED})",
    ),
    ForbidChange("billing_quoteline", "DELETE", SENT, _quote_of("OLD")),
    ForbidChange(
        "billing_repairinformationform",
        "UPDATE",
        ISSUED,
        f"{_issued()} AND NOT ({FORM_ERASED})",
    ),
    ForbidChange(
        "billing_repairinformationform", "DELETE", ISSUED, "OLD.issued_at IS NOT NULL"
    ),
    ForbidChange(
        "billing_link",
        "UPDATE",
        "A link cannot be changed. Revoke it and create another one.",
        "OLD.revoked_at IS NOT NULL AND "
        + changed("revoked_at", "revoked_by_id")
        + " OR "
        + changed("job_id", "token_hash", "works_until", "made_at"),
    ),
    *append_only(
        "billing_signature",
        "A signature cannot be changed.",
        unless_deleted=_erased_by("quote_id", JOB_OF_QUOTE),
    ),
    *append_only(
        "billing_changeorder",
        EXTRA_WORK,
        unless=erases(
            "why",
            others="id quote_id number agreed_before extra new_total made_at"
            " recorded_by_id",
            of=_erased_by("quote_id", JOB_OF_QUOTE),
        ),
    ),
    *append_only(
        "billing_changeline",
        EXTRA_WORK,
        unless=erases(
            "text",
            others=f"{LINE} change_id repair_id",
            of=_erased_by("change_id", JOB_OF_CHANGE),
        ),
    ),
    ForbidChange(
        "billing_changeline",
        "INSERT",
        "No line can be added to extra work that is answered.",
        "EXISTS (SELECT 1 FROM billing_changeanswer WHERE change_id = NEW.change_id)",
    ),
    *append_only(
        "billing_changeanswer",
        "An answer cannot be changed.",
        unless=erases(
            "who reached_at why",
            others="id change_id decision how given_at recorded_by_id",
            of=_erased_by("change_id", JOB_OF_CHANGE),
        ),
    ),
    *append_only(
        "billing_diagnosisconsent",
        "A consent cannot be changed. Record a new one.",
        unless=erases(
            "agreed_by",
            others="id job_id fee is_credited agreed_how agreed_at recorded_by_id",
            of=ERASED_JOB,
        ),
    ),
    *append_only(
        "billing_collection",
        "The person who collected a device cannot be changed.",
        unless_deleted=ERASED_JOB,
    ),
    *append_only(
        "billing_warrantycertificate",
        "A warranty certificate cannot be changed.",
        unless_deleted=ERASED_JOB,
    ),
    ForbidChange(
        "billing_parcel",
        "UPDATE",
        "A parcel cannot be changed. Its number may be added once.",
        "(OLD.number <> '' OR "
        + changed("job_id", '"to"', "carrier", "grams", "battery", "sent_on", "pdf")
        + f") AND NOT ({PARCEL_ERASED})",
    ),
    ForbidChange(
        "billing_parcel", "DELETE", "A parcel that was sent cannot be deleted."
    ),
    *append_only(
        "billing_invoice", CREDIT_IT, unless=f"{INVOICE_ERASED} OR {INVOICE_MOVED}"
    ),
    *append_only(
        "billing_invoiceline",
        CREDIT_IT,
        unless=erases(
            "text",
            others=f"{LINE} invoice_id repair_id credits_id",
            of=_after_the_legal_period(
                DAY_OF_INVOICE, _erased_by("invoice_id", JOB_OF_INVOICE)
            ),
        ),
    ),
    *append_only(
        "billing_einvoice",
        "An e-invoice cannot be changed. Create a credit note.",
        unless=erases(
            "file",
            others="id invoice_id file_hash made_at",
            of=_after_the_legal_period(
                DAY_OF_INVOICE, _erased_by("invoice_id", JOB_OF_INVOICE)
            ),
        ),
    ),
    *append_only(
        "billing_payment",
        "A payment cannot be changed. Record a refund.",
        unless=erases(
            "text",
            others="id job_id invoice_id amount rounding currency means key paid_on"
            " booked_on taken_at taken_by_id",
            of=_after_the_legal_period("OLD.booked_on", ERASED_JOB),
        ),
    ),
    ForbidChange(
        "billing_payment",
        "INSERT",
        "This day is closed. Record the payment for the next day.",
        "NEW.booked_on <= (SELECT MAX(day) FROM billing_dayclose)",
    ),
    *append_only(
        "billing_receipt",
        "A receipt cannot be changed.",
        unless=erases(
            "pdf",
            others="id series number payment_id pdf_sha256",
            of=_after_the_legal_period(
                DAY_OF_PAYMENT, _erased_by("payment_id", JOB_OF_PAYMENT)
            ),
        ),
    ),
    *append_only(
        "billing_reminder",
        "A reminder cannot be changed. Send another one.",
        unless=erases(
            "text mailed_to pdf",
            others="id invoice_id level reminded_on fee owed made_at made_by_id"
            " pdf_sha256",
            of=_erased_by("invoice_id", JOB_OF_INVOICE),
        ),
    ),
    *append_only("billing_dayclose", "A closed day cannot be changed."),
]
