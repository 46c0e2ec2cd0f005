from django.urls import path

from repairs.open_data import views

app_name = "open_data"
urlpatterns = [path("", views.export, name="export")]
