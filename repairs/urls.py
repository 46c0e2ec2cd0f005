"""The URLs of the workshop rooms."""

from django.urls import include, path

from repairs.photos.urls import phone_urls

urlpatterns = [
    path("customers/", include("repairs.customers.urls")),
    path("faults/", include("repairs.faults.urls")),
    path("shelf/", include("repairs.stock.urls")),
    path("counter/", include("repairs.intake.urls")),
    path("bench/", include("repairs.bench.urls")),
    path("diagnosis/", include("repairs.diagnosis.urls")),
    path("photos/q/", include(phone_urls)),
    path("photos/", include("repairs.photos.urls")),
    path("returns/", include("repairs.returns.urls")),
    path("imports/", include("repairs.sheet_import.urls")),
    path("open-data/", include("repairs.open_data.urls")),
    path("comebacks/", include("repairs.comebacks.urls")),
    path("comebacks/", include("repairs.month.urls")),
    path("comebacks/", include("repairs.knowledge.urls")),
]
