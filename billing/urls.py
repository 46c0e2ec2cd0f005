"""The register of doors of the till."""

from django.urls import include, path

urlpatterns = [
    path("quotes/", include("billing.quotes.urls")),
    path("repair-forms/", include("billing.quotes.repair_form.urls")),
    path("invoices/", include("billing.invoices.urls")),
    path("hand-back/", include("billing.handback.urls")),
]
