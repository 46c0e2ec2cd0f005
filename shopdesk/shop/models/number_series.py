from django.db import models
from django.utils.translation import gettext_lazy


class Series(models.Model):
    """The last number of a series without gaps; see `shop.numbering`."""

    name = models.CharField(max_length=20, unique=True)
    kind = models.CharField(
        gettext_lazy("what it numbers"), max_length=8, blank=True, default=""
    )
    last = models.PositiveIntegerField(default=0)
    # The date of the document with that number; None where dates have no order.
    last_on = models.DateField(null=True)

    class Meta:
        verbose_name_plural = gettext_lazy("series")

    def __str__(self):
        return f"{self.name} at {self.last}"
