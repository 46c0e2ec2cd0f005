"""The URLs of the customer's pages and of the staff's pages about them.

The root URLs pass in `balance_of`, which is in a room above this one.
"""

from django.urls import path

from billing.customer_page import desk_views, views

app_name = "link"
urlpatterns = [
    path("<str:token>/", views.page, name="page"),
    path("<str:token>/quote.pdf", views.paper, name="paper"),
    path("<str:token>/photo-<int:pk>.jpg", views.photo, name="photo"),
    path("<str:token>/thumbnail-<int:pk>.jpg", views.thumbnail, name="thumbnail"),
]

desk_urls = (
    [
        path("job/<int:pk>/", desk_views.for_job, name="for_job"),
        path("<int:pk>/revoke/", desk_views.revoke, name="revoke"),
        path("sign/<int:pk>/", desk_views.sign_here, name="sign_here"),
    ],
    "customer_links",
)
