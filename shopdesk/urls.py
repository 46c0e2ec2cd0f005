"""All URLs. `shopdesk.staff.permissions` says who may open which."""

from django.urls import include, path

from billing.invoices.queries import balance_of
from shopdesk import home, views
from shopdesk.find import views as find

urlpatterns = [
    path("", home.today, name="today"),
    path("find/", find.find, name="find"),
    path("look/", views.look, name="look"),
    path("staff/", include("shopdesk.staff.urls")),
    path("shop/", include("shopdesk.shop.urls")),
    path("post/", include("shopdesk.post.urls")),
    path("", include("repairs.urls")),
    # The customer's page shows what is owed, which stands above it.
    path("q/", include("billing.quotes.link.urls"), {"balance_of": balance_of}),
    path("till/", include("billing.urls")),
]
