"""The staff's pages about photos, and the pages behind a phone's link."""

from django.urls import path

from repairs.photos import link_views, views

app_name = "photos"
urlpatterns = [
    path("job/<int:pk>/", views.for_job, name="for_job"),
    path("job/<int:pk>/link/", views.create_link, name="create_link"),
    path("link/<int:pk>/revoke/", views.revoke_link, name="revoke_link"),
    path("<int:pk>/", views.photo, name="photo"),
    path("<int:pk>/remove/", views.remove, name="remove"),
    path("<int:pk>/picture.jpg", views.picture, name="picture"),
    path("<int:pk>/thumbnail.jpg", views.thumbnail, name="thumbnail"),
]

# Tokens follow /q/ in each address, where log lines are masked.
phone_urls = (
    [
        path("<str:token>/", link_views.page, name="page"),
        path("<str:token>/<int:pk>.jpg", link_views.thumbnail, name="thumbnail"),
    ],
    "photo_link",
)
