from django.urls import path

from shopdesk.shop import views

app_name = "shop"
urlpatterns = [
    path("figures/", views.settings, name="settings"),
    path("set-up/", views.set_up, name="set_up"),
    path("clock/", views.confirm_clock, name="confirm_clock"),
    path("figures/examples/", views.examples, name="examples"),
]
