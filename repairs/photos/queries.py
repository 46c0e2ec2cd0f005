"""Whether each photo has its file, as it was stored."""

from hashlib import sha256

from repairs.photos.models import Photo, PhotoFile

BATCH = 5
"""Pictures in memory at once."""


def first_damaged(using: str = "default") -> str:
    """Return which photo is the first whose file is missing or damaged, or ""."""
    photos = Photo.objects.using(using)
    lost = photos.shown().filter(file=None).select_related("job").first()
    if lost is not None:
        return f"The file of {lost} is missing"
    files = PhotoFile.objects.using(using).order_by("pk")
    rows = files.values_list("pk", "photo__sha256", "picture")
    for pk, digest, picture in rows.iterator(chunk_size=BATCH):
        if sha256(picture).hexdigest() != digest:
            damaged = photos.select_related("job").get(pk=pk)
            return f"The file of {damaged} is damaged"
    return ""
