from django.urls import path

from repairs.customers import views

app_name = "customers"
urlpatterns = [
    path("", views.all_customers, name="all"),
    path("<int:pk>/", views.customer, name="customer"),
    path("<int:pk>/change/", views.change, name="change"),
    path("phones/", views.phones, name="phones"),
    path("models/", views.models, name="models"),
    path("models/<int:pk>/", views.change_model, name="change_model"),
    path("device/<int:pk>/", views.device, name="device"),
    path("device/<int:pk>/change/", views.change_device, name="change_device"),
    path("device/<int:pk>/owner/", views.new_owner, name="new_owner"),
]
