"""Photos as a phone would send them, drawn by code."""

from io import BytesIO

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from repairs.photos.actions import add_photos
from repairs.photos.models import Photo
from repairs.photos.reencode import reencode
from tests import make


def drawn(form="JPEG", *, size=(64, 48), color="seagreen", left="seagreen", **more):
    """The bytes of a picture whose left half may have another colour."""
    picture = Image.new("RGB", size, color)
    picture.paste(left, (0, 0, size[0] // 2, size[1]))
    written = BytesIO()
    picture.save(written, form, **more)
    return written.getvalue()


def sent(name="photo.jpg", content=None, **facts):
    return SimpleUploadedFile(name, content or drawn(**facts))


def add(job, *colors, by=None, link=None, **facts):
    """Photos of these colours on the job."""
    return add_photos(
        job,
        [reencode(drawn(color=color)) for color in colors],
        stage=facts.pop("stage", Photo.Stage.WORK),
        stamp=make.stamp(by=by),
        link=link,
        **facts,
    )
