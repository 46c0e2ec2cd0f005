"""Register: Django finds the models of all rooms of `shopdesk` through this file."""

from shopdesk.api.models import ApiToken
from shopdesk.keeping.models import VerifiedBackup
from shopdesk.mail.models import Attachment, Email
from shopdesk.recording.models import TrailEntry
from shopdesk.sent_forms.models import SentForm
from shopdesk.shop.models import MarkupTier, Series, Shop, TaxRate, TaxRule
from shopdesk.staff.models import RecoveryCode, RequestCount, Session, User

__all__ = [
    "ApiToken",
    "Attachment",
    "Email",
    "MarkupTier",
    "RecoveryCode",
    "RequestCount",
    "SentForm",
    "Series",
    "Session",
    "Shop",
    "TaxRate",
    "TaxRule",
    "TrailEntry",
    "User",
    "VerifiedBackup",
]
