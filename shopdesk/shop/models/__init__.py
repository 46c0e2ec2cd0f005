from shopdesk.shop.models.number_series import Series
from shopdesk.shop.models.rates import (
    MarkupTier,
    TaxRate,
    TaxRateQuerySet,
    TaxRule,
)
from shopdesk.shop.models.shop import Shop

__all__ = [
    "MarkupTier",
    "Series",
    "Shop",
    "TaxRate",
    "TaxRateQuerySet",
    "TaxRule",
]
