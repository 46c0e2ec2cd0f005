"""Make new pictures of uploaded files, one at a time, and name those that are none."""

import fcntl
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import NamedTuple

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext, gettext_lazy

from repairs.photos import reencode
from repairs.photos.reencode import NewPicture, PictureError
from shopdesk.papers.worker import run_in_child

MAX_BYTES = 15_000_000
MAX_SECONDS = 10.0
TOO_LARGE, TOO_SLOW = "too_large", "too_slow"

PROBLEMS = {
    reencode.NOT_A_PICTURE: gettext_lazy(
        "{name} is not a JPEG, PNG or WebP picture, or it is damaged."
    ),
    reencode.HEIC: gettext_lazy(
        "{name} is an HEIC picture. Save it as JPEG, then add it again."
    ),
    reencode.TOO_MANY_PIXELS: gettext_lazy(
        "{name} has more than 40 million pixels. Make it smaller, then add it again."
    ),
    reencode.DAMAGED: gettext_lazy("{name} is damaged or incomplete."),
    TOO_LARGE: gettext_lazy(
        "{name} is larger than 15 MB. Make it smaller, then add it again."
    ),
    TOO_SLOW: gettext_lazy("{name} could not be read in time."),
}


class Uploads(NamedTuple):
    """The pictures of good files, and a sentence about each bad one."""

    pictures: list[NewPicture]
    problems: list[str]


def new_pictures(files: Iterable[UploadedFile]) -> Uploads:
    """Return new pictures of all files that can be used."""
    found = Uploads([], [])
    for file in files:
        try:
            found.pictures.append(_new_picture(file))
        except PictureError as error:
            name = file.name or gettext("The file")
            found.problems.append(str(PROBLEMS[str(error)]).format(name=name))
    return found


def _new_picture(file: UploadedFile) -> NewPicture:
    if (file.size or 0) > MAX_BYTES:
        raise PictureError(TOO_LARGE)
    with _one_at_a_time():
        try:
            return run_in_child(reencode.reencode, file.read(), max_seconds=MAX_SECONDS)
        except TimeoutError:
            raise PictureError(TOO_SLOW) from None
        except EOFError:
            raise PictureError(reencode.DAMAGED) from None


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Wait for other threads and processes: decoding takes much memory."""
    with open(settings.DATA_DIR / "pictures.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
