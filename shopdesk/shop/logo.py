"""Turn an uploaded picture into a small, safe logo for documents."""

from io import BytesIO

from django.utils.translation import gettext
from PIL import Image, ImageOps

FORMATS = ("PNG", "JPEG", "WEBP")
MAX_BYTES = 2_000_000
MAX_PIXELS = 12_000_000
MAX_SIZE = (900, 360)
"""Printed at 76 by 30 mm at most, at 300 dots per inch."""
MIN_SIDE = 16


class LogoError(Exception):
    """The file cannot be used as a logo; `str()` is shown to the user."""


def as_png(content: bytes) -> bytes:
    """Return the picture in `content` as a new PNG on white, with its pixels only.

    Metadata, profiles, further frames and data hidden behind the end are dropped. Its
    size is checked before any pixel is decoded.
    """
    if len(content) > MAX_BYTES:
        raise LogoError(
            gettext("Use a file of at most %(most)s MB.")
            % {"most": MAX_BYTES // 1_000_000}
        )
    try:
        with Image.open(BytesIO(content), formats=FORMATS) as picture:
            _check_size(*picture.size)
            picture.seek(0)
            drawn = ImageOps.exif_transpose(picture).convert("RGBA")
    except LogoError:
        raise
    except Exception as broken:
        # The library raises more kinds of errors for broken files than it documents.
        raise LogoError(
            gettext("The picture cannot be read. Use a PNG, JPEG or WebP file.")
        ) from broken
    drawn.thumbnail(MAX_SIZE, Image.Resampling.LANCZOS)
    clean = Image.new("RGB", drawn.size, "white")
    clean.paste(drawn, mask=drawn.getchannel("A"))
    written = BytesIO()
    clean.save(written, "PNG", optimize=True)
    return written.getvalue()


def _check_size(width: int, height: int) -> None:
    if width * height > MAX_PIXELS:
        raise LogoError(
            gettext(
                "The picture has %(width)s × %(height)s pixels, which is too large."
                " A width of 900 pixels is enough."
            )
            % {"width": width, "height": height}
        )
    if min(width, height) < MIN_SIDE:
        raise LogoError(
            gettext("The picture is too small: %(width)s × %(height)s pixels.")
            % {"width": width, "height": height}
        )
