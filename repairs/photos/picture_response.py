"""The files of a photo as responses."""

from django.db.models import F, QuerySet
from django.http import Http404, HttpResponse

from shopdesk.look.downloads import jpeg_response


def file_response(files: QuerySet, field: str) -> HttpResponse:
    """Return one of the two files of a photo; `files` are those one may see."""
    number = F("photo__job__number")
    found = files.values_list(field, "photo_id", number).first()
    if found is None:
        raise Http404
    content, pk, job = found
    return jpeg_response(content, name=f"job-{job}-photo-{pk}")
