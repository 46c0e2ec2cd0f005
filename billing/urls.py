"""The register of doors of the till."""

from django.urls import include, path

from billing.quotes.link.urls import desk_urls

urlpatterns = [
    path("quotes/", include("billing.quotes.urls")),
    path("links/", include(desk_urls)),
    path("changes/", include("billing.quotes.changes.urls")),
    path("repair-forms/", include("billing.quotes.repair_form.urls")),
    path("invoices/owed/", include("billing.invoices.reminders.urls")),
    path("invoices/days/", include("billing.invoices.day_close.urls")),
    path("invoices/", include("billing.invoices.urls")),
    path("hand-back/", include("billing.handback.urls")),
]
