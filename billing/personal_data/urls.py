from django.urls import path

from billing.personal_data import views

app_name = "personal_data"
urlpatterns = [
    path("due/", views.due, name="due"),
    path("<int:pk>/", views.overview, name="overview"),
    path("<int:pk>/export/", views.export, name="zip"),
    path("<int:pk>/merge/", views.merge_customers, name="merge_customers"),
    path("device/<int:pk>/merge/", views.merge_devices, name="merge_devices"),
    path("<int:pk>/erase/", views.erase, name="erase"),
]
