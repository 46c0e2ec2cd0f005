"""All URLs. `shopdesk.staff.permissions` says who may open which."""

from django.urls import include, path

from billing.invoices.balance import balance_of
from shopdesk.api.urls import endpoint_urls
from shopdesk.api.views import document
from shopdesk.front import pages, search, today
from shopdesk.serving.health import health

handler400 = "shopdesk.front.server_errors.bad_request"
handler500 = "shopdesk.front.server_errors.server_error"

urlpatterns = [
    path("", today.today, name="today"),
    path("health/", health, name="health"),
    path("find/", search.search, name="find"),
    path("look/", pages.look, name="look"),
    path("staff/", include("shopdesk.staff.urls")),
    path("shop/", include("shopdesk.shop.urls")),
    path("api/v1/", include((endpoint_urls, "api"))),
    path("api/openapi.json", document, name="api_document"),
    path("api/", include("shopdesk.api.urls")),
    path("trail/", include("shopdesk.trail.urls")),
    path("post/", include("shopdesk.mail.urls")),
    path("", include("repairs.urls")),
    # The customer's page shows the balance, which is in a room above its own.
    path("q/", include("billing.customer_page.urls"), {"balance_of": balance_of}),
    path("till/", include("billing.urls")),
]
