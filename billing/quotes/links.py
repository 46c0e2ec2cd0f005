"""Links by which customers read and answer their quote."""

from datetime import timedelta

from django.urls import reverse

from billing.quotes.models import Link
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop
from shopdesk.staff.link_pages import public_address
from shopdesk.staff.link_tokens import hash_of, new_token
from shopdesk.stamp import Stamp


def create_link(job: Job, *, stamp: Stamp) -> tuple[Link, str]:
    """Create a link and return its token, which is not stored."""
    token = new_token()
    link = Link.objects.create(
        job=job,
        token_hash=hash_of(token),
        works_until=stamp.on + timedelta(days=Shop.current().link_days),
        made_at=stamp.at,
        made_by=stamp.by,
    )
    return link, token


def create_address(request, job: Job, *, stamp: Stamp) -> str:
    """Create a link and return its address for the customer."""
    _, token = create_link(job, stamp=stamp)
    return public_address(request, reverse("link:page", args=[token]))
