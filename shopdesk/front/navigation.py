"""The context of every page: the shop, the menus, and whether costs are shown."""

from django.conf import settings
from django.urls import reverse
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext_lazy

from shopdesk.front.how_it_works import how_it_works
from shopdesk.staff.permissions import can_open, can_see_costs
from shopdesk.version import VERSION

# Label, first page, and the URL namespaces that belong to it.
MAIN_MENU = (
    (gettext_lazy("Today"), "today", ()),
    (
        gettext_lazy("Counter"),
        "intake:book_in",
        ("intake", "customers", "handover", "personal_data"),
    ),
    (gettext_lazy("Bench"), "bench:list", ("bench", "returns")),
    (gettext_lazy("Parts"), "stock:parts", ("stock",)),
    (
        gettext_lazy("Billing"),
        "quotes:all",
        (
            *("quotes", "customer_links", "changes", "repair_form"),
            *("invoices", "reminders", "day_close"),
        ),
    ),
    (gettext_lazy("Comebacks"), "comebacks:table", ("comebacks", "month", "knowledge")),
    (gettext_lazy("Fault book"), "faults:book", ("faults",)),
)
FOOTER_MENU = (
    (gettext_lazy("Emails"), "mail:outbox", ("mail",)),
    (gettext_lazy("Shop settings"), "shop:settings", ()),
    (gettext_lazy("Imports"), "sheet_import:all", ("sheet_import",)),
    (gettext_lazy("Staff"), "staff:people", ()),
    (gettext_lazy("Personal data"), "personal_data:due", ()),
    (gettext_lazy("Audit trail"), "trail:all", ()),
    (gettext_lazy("Open repair data"), "open_data:export", ("open_data",)),
    (gettext_lazy("API"), "api_tokens:all", ("api_tokens",)),
    (gettext_lazy("My password"), "staff:password", ()),
    (gettext_lazy("Second factor"), "staff:second_factor", ()),
    (gettext_lazy("Language"), "staff:language", ()),
    (gettext_lazy("Signed-in devices"), "staff:devices", ()),
)


def page_context(request):
    """Return what every page may use, lazily: unused, it costs no database query."""
    match = request.resolver_match
    return {
        "shop": request.shop,
        "sees_costs": SimpleLazyObject(
            lambda: can_see_costs(request.user, request.shop)
        ),
        "version": VERSION,
        "how_it_works": how_it_works(match.view_name) if match else "",
        "main_menu": SimpleLazyObject(lambda: visible_links(request, MAIN_MENU)),
        "footer_menu": SimpleLazyObject(lambda: visible_links(request, FOOTER_MENU)),
    }


def visible_links(request, menu):
    """Return (url, label, is_here) of each entry of `menu` that the user may open.

    `is_here` is the value of aria-current: "page" on the page itself, "true" elsewhere
    in the room, else empty.
    """
    match = request.resolver_match
    found = []
    for label, name, namespaces in menu:
        if not can_open(request.user, name):
            continue
        if name == "staff:language" and len(settings.SCREEN_LANGUAGES) == 1:
            continue
        here = ""
        if match and match.view_name == name:
            here = "page"
        elif match and match.namespaces and match.namespaces[0] in namespaces:
            here = "true"
        found.append((reverse(name), label, here))
    return found
