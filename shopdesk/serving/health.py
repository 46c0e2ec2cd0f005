"""Does the shop work? For a program that watches it."""

from django.contrib.auth.decorators import login_not_required
from django.db import Error
from django.http import HttpResponse
from django.views.decorators.cache import never_cache

from shopdesk.shop.models import Shop

RETRY_SECONDS = 10


@never_cache
@login_not_required
def health(request) -> HttpResponse:
    """Say whether a table of the database can be read, and nothing else."""
    try:
        Shop.objects.exists()
    except Error:
        response = HttpResponse("failed\n", content_type="text/plain", status=503)
        response["Retry-After"] = RETRY_SECONDS
        return response
    return HttpResponse("ok\n", content_type="text/plain")
