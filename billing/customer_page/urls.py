"""The customer's pages, and the desk's. The root of the first gives `balance_of`,
which stands above this room.
"""

from django.urls import path

from billing.customer_page import desk_views, views

app_name = "link"
urlpatterns = [
    path("<str:token>/", views.page, name="page"),
    path("<str:token>/quote.pdf", views.paper, name="paper"),
]

desk_urls = (
    [
        path("job/<int:pk>/", desk_views.for_job, name="for_job"),
        path("<int:pk>/revoke/", desk_views.revoke, name="revoke"),
        path("sign/<int:pk>/", desk_views.sign_here, name="sign_here"),
    ],
    "customer_links",
)
