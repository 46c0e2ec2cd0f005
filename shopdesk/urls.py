"""The doors of the building. Who may open which is said in `shopdesk.doors`."""

from django.urls import include, path

from shopdesk import home, views

urlpatterns = [
    path("", home.today, name="today"),
    path("find/", home.find, name="find"),
    path("look/", views.look, name="look"),
    path("staff/", include("shopdesk.staff.urls")),
    path("shop/", include("shopdesk.shop.urls")),
    path("post/", include("shopdesk.post.urls")),
    path("", include("repairs.urls")),
    path("till/", include("billing.urls")),
]
