from django.urls import path

from shopdesk.trail import views

app_name = "trail"
urlpatterns = [
    path("", views.all_entries, name="all"),
    path("<str:kind>/<int:pk>/", views.record, name="record"),
]
