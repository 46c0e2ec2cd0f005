"""The records of billing that the database refuses to change."""

from shopdesk.triggers import ForbidChange, append_only, changed

SENT = "A sent quote cannot be changed. Revise it."


def _quote_of(row: str) -> str:
    return (
        "(SELECT state FROM billing_quote WHERE id ="
        " (SELECT quote_id FROM billing_quoteoption"
        f" WHERE id = {row}.option_id)) <> 'draft'"
    )


def _quote(row: str) -> str:
    return f"(SELECT state FROM billing_quote WHERE id = {row}.quote_id) <> 'draft'"


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
        "OLD.state <> 'draft' AND "
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
    ForbidChange("billing_quoteoption", "UPDATE", SENT, _quote("OLD")),
    ForbidChange("billing_quoteoption", "DELETE", SENT, _quote("OLD")),
    ForbidChange("billing_quoteline", "INSERT", SENT, _quote_of("NEW")),
    ForbidChange("billing_quoteline", "UPDATE", SENT, _quote_of("OLD")),
    ForbidChange("billing_quoteline", "DELETE", SENT, _quote_of("OLD")),
    ForbidChange("billing_repairinformationform", "UPDATE", ISSUED, _issued()),
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
    *append_only("billing_signature", "A signature cannot be changed."),
    *append_only(
        "billing_changeorder", "Extra work cannot be changed. Add more extra work."
    ),
    *append_only(
        "billing_changeline", "Extra work cannot be changed. Add more extra work."
    ),
    ForbidChange(
        "billing_changeline",
        "INSERT",
        "No line can be added to extra work that is answered.",
        "EXISTS (SELECT 1 FROM billing_changeanswer WHERE change_id = NEW.change_id)",
    ),
    *append_only("billing_changeanswer", "An answer cannot be changed."),
    *append_only(
        "billing_diagnosisconsent", "A consent cannot be changed. Record a new one."
    ),
    *append_only(
        "billing_collection", "The person who collected a device cannot be changed."
    ),
    *append_only(
        "billing_warrantycertificate", "A warranty certificate cannot be changed."
    ),
    ForbidChange(
        "billing_parcel",
        "UPDATE",
        "A parcel cannot be changed. Its number may be added once.",
        "OLD.number <> '' OR "
        + changed("job_id", '"to"', "carrier", "grams", "battery", "sent_on", "pdf"),
    ),
    ForbidChange(
        "billing_parcel", "DELETE", "A parcel that was sent cannot be deleted."
    ),
    *append_only(
        "billing_invoice", "An invoice cannot be changed. Create a credit note."
    ),
    *append_only(
        "billing_invoiceline", "An invoice cannot be changed. Create a credit note."
    ),
    *append_only(
        "billing_einvoice", "An e-invoice cannot be changed. Create a credit note."
    ),
    *append_only("billing_payment", "A payment cannot be changed. Record a refund."),
    ForbidChange(
        "billing_payment",
        "INSERT",
        "This day is closed. Record the payment for the next day.",
        "NEW.booked_on <= (SELECT MAX(day) FROM billing_dayclose)",
    ),
    *append_only("billing_receipt", "A receipt cannot be changed."),
    *append_only("billing_reminder", "A reminder cannot be changed. Send another one."),
    *append_only("billing_dayclose", "A closed day cannot be changed."),
]
