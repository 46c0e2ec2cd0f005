"""What the database keeps unchanged at the till."""

from shopdesk.guards import Guard, append_only, changed

SENT = "A quote that was sent is never changed: revise it."


def _quote_of(row: str) -> str:
    return (
        "(SELECT state FROM billing_quote WHERE id ="
        f" (SELECT quote_id FROM billing_option WHERE id = {row}.option_id)) <> 'draft'"
    )


def _quote(row: str) -> str:
    return f"(SELECT state FROM billing_quote WHERE id = {row}.quote_id) <> 'draft'"


GUARDS = [
    Guard(
        "billing_quote",
        "UPDATE",
        SENT,
        "OLD.state <> 'draft' AND "
        + changed(
            "job_id",
            "version",
            "words",
            "valid_until",
            "prices_include_tax",
            "currency",
            "sent_at",
            "paper",
            "paper_hash",
        ),
    ),
    Guard("billing_quote", "DELETE", SENT, "OLD.state <> 'draft'"),
    Guard("billing_option", "INSERT", SENT, _quote("NEW")),
    Guard("billing_option", "UPDATE", SENT, _quote("OLD")),
    Guard("billing_option", "DELETE", SENT, _quote("OLD")),
    Guard("billing_quoteline", "INSERT", SENT, _quote_of("NEW")),
    Guard("billing_quoteline", "UPDATE", SENT, _quote_of("OLD")),
    Guard("billing_quoteline", "DELETE", SENT, _quote_of("OLD")),
    *append_only("billing_invoice", "An invoice is never changed: credit it."),
    *append_only("billing_invoiceline", "An invoice is never changed: credit it."),
    *append_only("billing_einvoice", "An e-invoice is never changed: credit it."),
    *append_only("billing_payment", "A payment is never changed: pay back instead."),
]
