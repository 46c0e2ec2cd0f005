from django.urls import path

from billing.handback import views

app_name = "handback"
urlpatterns = [
    path("<int:pk>/", views.hand_back, name="hand_back"),
    path("<int:pk>/cover/", views.cover, name="cover"),
    path("<int:pk>/parcel/", views.parcel, name="parcel"),
    path("<int:pk>/parcel/number/", views.parcel_number, name="parcel_number"),
]
