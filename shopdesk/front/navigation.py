"""What every page knows: the shop, and the rooms that its reader may enter."""

from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

from shopdesk.staff.permissions import can_open

# The word on the door, the first page behind it, and whose pages lie in that room.
ROOMS = (
    ("Today", "today", ()),
    ("Counter", "intake:book_in", ("intake", "customers", "handover")),
    ("Bench", "bench:mine", ("bench", "jobs", "returns")),
    ("Shelf", "stock:parts", ("stock",)),
    (
        "Till",
        "quotes:all",
        (
            *("quotes", "links", "changes", "repair_form"),
            *("invoices", "reminders", "days"),
        ),
    ),
    ("Comebacks", "comebacks:table", ("comebacks", "month", "knowledge")),
    ("Fault book", "faults:book", ("faults",)),
)
FOOT = (
    ("Post", "mail:outbox", ("post",)),
    ("The shop’s figures", "shop:figures", ()),
    ("Staff", "staff:people", ()),
    ("Your password", "staff:password", ()),
)


def desk(request):
    """All lazy: a page that shows none of it asks the database nothing."""
    return {
        "shop": request.shop,
        "rooms": SimpleLazyObject(lambda: links(request, ROOMS)),
        "foot": SimpleLazyObject(lambda: links(request, FOOT)),
    }


def links(request, doors):
    """(url, word, is_here) of each of `doors` that this reader may open.

    `is_here` is what aria-current wants: "page" on the page itself, "true" elsewhere in
    the room, else empty.
    """
    match = request.resolver_match
    found = []
    for word, name, namespaces in doors:
        if not can_open(request.user, name):
            continue
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        here = ""
        if match and match.view_name == name:
            here = "page"
        elif match and match.namespaces and match.namespaces[0] in namespaces:
            here = "true"
        found.append((url, word, here))
    return found
