"""The currency in which a paper was written, and how it is written."""

from dataclasses import dataclass

from shopdesk.shop import currencies


@dataclass(frozen=True)
class Currency:
    """Stands where a template asks for the shop: `{{ total|money:currency }}`.

    A sent quote stays in its own currency when the shop's changes.
    """

    currency: str
    locale: str

    @property
    def places(self) -> int:
        """Decimals of the currency (ISO 4217)."""
        return currencies.places(self.currency)
