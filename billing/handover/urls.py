from django.urls import path

from billing.handover import views

app_name = "handover"
urlpatterns = [
    path("<int:pk>/", views.hand_over, name="hand_over"),
    path("<int:pk>/cover/", views.certificate, name="certificate"),
    path("<int:pk>/parcel/", views.parcel, name="parcel"),
    path("<int:pk>/parcel/number/", views.parcel_number, name="parcel_number"),
]
