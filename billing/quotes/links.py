"""Links by which customers read and answer their quote."""

import secrets
from datetime import date, datetime, timedelta

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from billing.quotes.models import Link
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop


def create_link(job: Job, *, on: date, at: datetime, by) -> tuple[Link, str]:
    """Create a link; its token is returned this once and stored nowhere."""
    token = secrets.token_urlsafe(32)
    link = Link.objects.create(
        job=job,
        token_hash=Link.hash_of(token),
        works_until=on + timedelta(days=Shop.current().link_days),
        made_at=at,
        made_by=by,
    )
    return link, token


def create_address(request, job: Job, *, at: datetime) -> str:
    """Create a link and return its address, as the customer reaches it."""
    _, token = create_link(job, on=timezone.localdate(), at=at, by=request.user)
    path = reverse("link:page", args=[token])
    if settings.PUBLIC_URL:
        return settings.PUBLIC_URL.rstrip("/") + path
    return request.build_absolute_uri(path)
