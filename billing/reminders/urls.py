from django.urls import path

from billing.reminders import views

app_name = "reminders"
urlpatterns = [
    path("", views.owed, name="owed"),
    path("all/", views.remind_all, name="remind_all"),
    path("invoice/<int:pk>/", views.remind, name="remind"),
    path("invoice/<int:pk>/let-go/", views.let_go, name="let_go"),
    path("<int:pk>/paper/", views.paper, name="paper"),
]
