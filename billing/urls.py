"""The URLs of the billing rooms."""

from django.urls import include, path

from billing.customer_page.urls import desk_urls

urlpatterns = [
    path("quotes/", include("billing.quotes.urls")),
    path("links/", include(desk_urls)),
    path("changes/", include("billing.changes.urls")),
    path("repair-forms/", include("billing.repair_form.urls")),
    path("invoices/owed/", include("billing.reminders.urls")),
    path("invoices/days/", include("billing.day_close.urls")),
    path("invoices/", include("billing.invoices.urls")),
    path("personal-data/", include("billing.personal_data.urls")),
    path("hand-back/", include("billing.handover.urls")),
]
