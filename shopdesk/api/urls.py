from django.contrib.auth.decorators import login_not_required
from django.urls import path
from django.views.decorators.cache import cache_control

from shopdesk.api import endpoints, views

app_name = "api_tokens"
urlpatterns = [
    path("", views.tokens, name="all"),
    path("new/", views.create, name="create"),
    path("<int:pk>/revoke/", views.revoke, name="revoke"),
    path("reference/", views.reference, name="reference"),
]

unstored = cache_control(no_store=True, private=True)
# A token opens them, no session does.
endpoint_urls = [
    path(str(url.pattern), login_not_required(unstored(url.callback)), name=url.name)
    for url in endpoints.api.urls[0]
    if url.name != "api-root"  # the library's own, an empty page
]
