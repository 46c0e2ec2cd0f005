from django.urls import path

from billing.reminders import views

app_name = "reminders"
urlpatterns = [
    path("", views.outstanding, name="outstanding"),
    path("all/", views.remind_all, name="remind_all"),
    path("invoice/<int:pk>/", views.remind, name="remind"),
    path("invoice/<int:pk>/let-go/", views.waive_fees, name="waive_fees"),
    path("<int:pk>/paper/", views.paper, name="paper"),
]
