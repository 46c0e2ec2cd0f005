"""Register: Django finds the models of all rooms of `shopdesk` through this file."""

from shopdesk.post.models import Attachment, Letter
from shopdesk.shop.models import MarkupBand, Series, Shop, TaxRate
from shopdesk.staff.models import User

__all__ = [
    "Attachment",
    "Letter",
    "MarkupBand",
    "Series",
    "Shop",
    "TaxRate",
    "User",
]
