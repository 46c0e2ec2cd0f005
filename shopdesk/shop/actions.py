"""Remove tax rates, tax rules and markup tiers from the settings."""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext

from shopdesk.errors import RefusedError
from shopdesk.shop.models import MarkupTier, TaxRate, TaxRule


@transaction.atomic
def delete_rate(pk: int, *, on: date) -> None:
    """Delete a tax rate that is not in force yet; one already deleted is ignored."""
    row = TaxRate.objects.select_for_update().filter(pk=pk).first()
    if row is None:
        return
    if row.starts_on <= on:
        raise RefusedError(
            gettext("%(row)s applies since %(starts_on)s. Add a new rate instead.")
            % {"row": row, "starts_on": row.starts_on}
        )
    row.delete()


def delete_rule(pk: int) -> None:
    """Delete a tax rule; lines already on a document keep their tax."""
    TaxRule.objects.filter(pk=pk).delete()


def delete_tier(pk: int) -> None:
    """Delete a markup tier; parts already on a job keep their price."""
    MarkupTier.objects.filter(pk=pk).delete()
