"""Register: Django finds the models of all rooms of `shopdesk` through this file."""

from shopdesk.keeping.models import VerifiedBackup
from shopdesk.mail.models import Attachment, Email
from shopdesk.shop.models import MarkupTier, Series, Shop, TaxRate
from shopdesk.staff.models import RequestCount, User

__all__ = [
    "Attachment",
    "Email",
    "MarkupTier",
    "RequestCount",
    "Series",
    "Shop",
    "TaxRate",
    "User",
    "VerifiedBackup",
]
