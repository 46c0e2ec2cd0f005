"""The customer as named on quotes and invoices."""

from billing.einvoice.en16931 import Party
from repairs.customers.models import Customer
from shopdesk.shop.models import Shop


def default_buyer(customer: Customer, shop: Shop) -> Party:
    """Return the customer as named on an invoice."""
    return Party(
        name=", ".join(filter(None, [customer.company, customer.name])),
        address=customer.address,
        country=customer.country or shop.country,
        tax_id=customer.tax_id,
    )
