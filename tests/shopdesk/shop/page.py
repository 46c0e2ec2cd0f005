"""The settings page, as a browser sends it back."""

from shopdesk.shop.forms import SettingsForm
from shopdesk.shop.models import Shop

PAGE = "/shop/figures/"


def as_typed(**changes):
    """What a browser would send back from the page as it stands, with changes."""
    form = SettingsForm(instance=Shop.current())
    told = {}
    for name in form.fields:
        value = form[name].value()
        if value is not None and value is not False:
            told[name] = str(value)
    return told | changes
