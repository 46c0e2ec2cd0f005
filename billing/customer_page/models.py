"""The signatures that customers drew when accepting."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext, gettext_lazy

from billing.quotes.models import Quote


class Signature(models.Model):
    """The signature drawn when accepting. Rows are only added."""

    quote = models.OneToOneField(
        Quote, on_delete=models.PROTECT, related_name="signature"
    )
    ink = models.TextField(gettext_lazy("lines (SVG path)"), max_length=8000)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(ink=""), name="signature_is_drawn")
        ]

    def __str__(self):
        return gettext("Signature on {quote}").format(quote=self.quote)
