from django.urls import path

from billing.day_close import views

app_name = "day_close"
urlpatterns = [
    path("", views.days, name="days"),
    path("accounts/", views.accounts, name="accounts"),
    path("<int:pk>/", views.day, name="day"),
    path("<int:pk>/paper/", views.paper, name="paper"),
    path("<int:pk>/slip/", views.slip, name="slip"),
    path("<int:pk>/csv/", views.csv, name="csv"),
]
