"""What is taken off the shop's figures again."""

from datetime import date

from django.db import transaction

from shopdesk.shop.models import MarkupTier, TaxRate


class RateInUseError(Exception):
    """A rate that already held somewhere, told as a sentence."""


@transaction.atomic
def drop_rate(pk: int, *, on: date) -> None:
    """Take back a rate that has not begun; one that is gone already stays gone."""
    row = TaxRate.objects.select_for_update().filter(pk=pk).first()
    if row is None:
        return
    if row.starts_on <= on:
        raise RateInUseError(
            f"{row} holds since {row.starts_on} and stays on record: add its successor."
        )
    row.delete()


def drop_band(pk: int) -> None:
    """Take a markup band away; parts already on a job keep their price."""
    MarkupTier.objects.filter(pk=pk).delete()
