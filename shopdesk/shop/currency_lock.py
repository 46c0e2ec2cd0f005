"""When the currency of a shop that is set up may change: not once there is an amount.

Before, it was not chosen by anybody, and no document names it.
"""

from functools import reduce
from operator import or_

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils.translation import gettext

from shopdesk.fields import MoneyField
from shopdesk.shop import currencies


class CurrencyChecks:
    """Checks currency and number format in each form that sets them."""

    def clean_currency(self):
        currency = self.cleaned_data["currency"]
        shop = type(self.instance).current()
        is_chosen = shop.set_up_on is not None and currency != shop.currency
        if is_chosen and (holders := stored_amount()):
            raise ValidationError(
                gettext(
                    "The currency can no longer be changed: there are already"
                    " %(holders)s with amounts."
                )
                % {"holders": holders}
            )
        return currency

    def clean_locale(self):
        locale = self.cleaned_data["locale"]
        if currencies.sample("EUR", locale=locale) is None:
            raise ValidationError(
                gettext("Unknown language and country. Enter them as in en_GB.")
            )
        return locale


def stored_amount() -> str:
    """Name the first kind of record that holds an amount; "" if there is none.

    The settings themselves do not count.
    """
    for model in apps.get_models():
        fields = [f.name for f in model._meta.fields if isinstance(f, MoneyField)]
        if not fields or model._meta.model_name in ("shop", "markuptier"):
            continue
        holds = [Q(**{f"{name}__gt": 0}) | Q(**{f"{name}__lt": 0}) for name in fields]
        if model._base_manager.filter(reduce(or_, holds)).exists():
            return str(model._meta.verbose_name_plural)
    return ""
