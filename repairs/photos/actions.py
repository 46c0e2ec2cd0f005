"""Add photos to a job, remove them, and make the links by which a phone adds them."""

from collections.abc import Iterable, Sequence
from datetime import timedelta
from hashlib import sha256

from django.db import transaction
from django.db.models import Count, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext

from repairs.jobs.models import Job
from repairs.photos.models import Photo, PhotoFile, PhotoLink
from repairs.photos.reencode import NewPicture
from shopdesk.errors import RefusedError
from shopdesk.staff.link_tokens import hash_of, new_token
from shopdesk.stamp import Stamp

LINK_MINUTES = 30
MAX_PHOTOS = 60
MAX_BYTES_OF_JOB = 60_000_000
"""A photo has some 500 kB, so this is reached only by many unusual ones."""


@transaction.atomic
def add_photos(
    job: Job,
    pictures: Iterable[NewPicture],
    *,
    stage: str,
    caption: str = "",
    link: PhotoLink | None = None,
    stamp: Stamp,
) -> list[Photo]:
    """Store the pictures with one caption; one that the job already has is left out.

    Photos added by a link are those of the person who made it.
    """
    job = Job.objects.select_for_update(of=["self"]).get(pk=job.pk)
    if job.customer.erased_on is not None:
        raise RefusedError(gettext("The customer’s data was erased. Add no photos."))
    new = {sha256(picture.picture).hexdigest(): picture for picture in pictures}
    for known in job.photos.shown().filter(sha256__in=new).values_list("sha256"):
        del new[known[0]]
    _check_room(job, list(new.values()))
    added = []
    for digest, picture in new.items():
        photo = job.photos.create(
            link=link,
            added_at=stamp.at,
            by=link.made_by if link else stamp.by,
            stage=stage,
            caption=caption,
            width=picture.width,
            height=picture.height,
            size=len(picture.picture),
            thumbnail_size=len(picture.thumbnail),
            sha256=digest,
        )
        PhotoFile.objects.create(
            photo=photo, thumbnail=picture.thumbnail, picture=picture.picture
        )
        added.append(photo)
    return added


def _check_room(job: Job, new: Sequence[NewPicture]) -> None:
    held = job.photos.shown().aggregate(
        count=Count("pk"), size=Coalesce(Sum("size"), 0)
    )
    size = held["size"] + sum(len(picture.picture) for picture in new)
    if held["count"] + len(new) > MAX_PHOTOS or size > MAX_BYTES_OF_JOB:
        raise RefusedError(
            gettext(
                "A job can have at most {most} photos, {megabytes} MB in all; this one"
                " has {count}. Remove some first."
            ).format(
                most=MAX_PHOTOS,
                megabytes=MAX_BYTES_OF_JOB // 1_000_000,
                count=held["count"],
            )
        )


def remove_photo(photo: Photo, *, why: str, stamp: Stamp) -> None:
    """Delete the files of a photo for good, and record who did so and why."""
    if not why.strip():
        raise RefusedError("Enter the reason for removing the photo.")
    remove_photos(Photo.objects.filter(pk=photo.pk), why=why.strip(), stamp=stamp)


@transaction.atomic
def remove_photos(photos: QuerySet, *, why: str, stamp: Stamp) -> None:
    """Remove those of `photos` that are not removed yet."""
    pks = list(photos.filter(removed_at=None).values_list("pk", flat=True))
    PhotoFile.objects.filter(pk__in=pks).delete()
    Photo.objects.filter(pk__in=pks, removed_at=None).update(
        removed_at=stamp.at, removed_by=stamp.by, removed_why=why, for_customer=False
    )


def create_link(job: Job, *, stamp: Stamp) -> tuple[PhotoLink, str]:
    """Create a link for half an hour and return its token, which is not stored."""
    token = new_token()
    link = PhotoLink.objects.create(
        job=job,
        token_hash=hash_of(token),
        works_until=stamp.at + timedelta(minutes=LINK_MINUTES),
        made_at=stamp.at,
        made_by=stamp.by,
    )
    return link, token


def revoke_link(link: PhotoLink, *, stamp: Stamp) -> None:
    """Revoke the link; repeating it changes nothing."""
    PhotoLink.objects.filter(pk=link.pk, revoked_at=None).update(
        revoked_at=stamp.at, revoked_by=stamp.by
    )
