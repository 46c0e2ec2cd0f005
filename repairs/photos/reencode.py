"""Turn an uploaded picture into a new JPEG and a thumbnail that hold its pixels only.

Run it in a child process (`photos.uploading`): some files take very long to decode, and
decoding may need some 500 MB.
"""

import warnings
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, UnidentifiedImageError

from shopdesk.errors import RefusedError

FORMATS = ("JPEG", "PNG", "WEBP")
MAX_PIXELS = 40_000_000
MAX_SIDE = 2000
"""Pixels: a board of 30 cm then has one for each 0.15 mm."""
THUMBNAIL_SIDE = 320
QUALITY, THUMBNAIL_QUALITY = 85, 75

NOT_A_PICTURE, HEIC, TOO_MANY_PIXELS, DAMAGED = REASONS = (
    *("not_a_picture", "heic", "too_many_pixels", "damaged"),
)
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1")
ORIENTATION = 0x0112
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What turns a picture upright, by its EXIF orientation."""


class PictureError(RefusedError):
    """The file cannot be used; `str()` is one of `REASONS`."""


@dataclass(frozen=True)
class NewPicture:
    """Two JPEG files, and the size of the first in pixels."""

    picture: bytes
    thumbnail: bytes
    width: int
    height: int


def reencode(content: bytes) -> NewPicture:
    """Return the first frame of a JPEG, PNG or WebP file, upright, at most 2000 pixels
    wide and high.

    Metadata, profiles, further frames and what is hidden behind the end are dropped.
    The size is judged by the header, before any pixel is decoded.

    Raises: PictureError.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            clean = _clean(content)
        except PictureError:
            raise
        except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
            raise PictureError(TOO_MANY_PIXELS) from error
        except UnidentifiedImageError as error:
            is_heic = content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS
            raise PictureError(HEIC if is_heic else NOT_A_PICTURE) from error
        except Exception as error:
            # The library raises more kinds of errors for broken files than it says.
            raise PictureError(DAMAGED) from error
    small = clean.copy()
    small.thumbnail((THUMBNAIL_SIDE, THUMBNAIL_SIDE), Image.Resampling.LANCZOS)
    return NewPicture(
        picture=_jpeg(clean, QUALITY),
        thumbnail=_jpeg(small, THUMBNAIL_QUALITY),
        width=clean.width,
        height=clean.height,
    )


def _clean(content: bytes) -> Image.Image:
    """Return a new image with the pixels alone, on white where they are transparent."""
    with Image.open(BytesIO(content), formats=FORMATS) as source:
        if source.width * source.height > MAX_PIXELS:
            raise PictureError(TOO_MANY_PIXELS)
        orientation = _orientation(source)
        picture: Image.Image = source
        if source.has_transparency_data and source.mode != "RGBA":
            picture = source.convert("RGBA")
        elif source.mode not in ("RGB", "RGBA", "L", "CMYK"):
            picture = _in_colour(source)
        # Of a large JPEG only every second, fourth or eighth pixel is decoded.
        picture.thumbnail((MAX_SIDE, MAX_SIDE), Image.Resampling.LANCZOS)
        mask = picture.getchannel("A") if picture.mode == "RGBA" else None
        clean = Image.new("RGB", picture.size, "white")
        clean.paste(picture.convert("RGB"), mask=mask)
    turn = UPRIGHT.get(orientation)
    return clean if turn is None else clean.transpose(turn)


def _orientation(source: Image.Image) -> int:
    """Return the EXIF orientation; 1, which is upright, if there is no readable one."""
    with suppress(Exception):
        return int(source.getexif().get(ORIENTATION, 1))
    return 1


def _in_colour(source: Image.Image) -> Image.Image:
    """Return it in red, green and blue; of 16 bits a pixel the upper 8."""
    if source.mode.startswith("I"):
        source = source.convert("I").point(lambda value: value / 256).convert("L")
    return source.convert("RGB")


def _jpeg(picture: Image.Image, quality: int) -> bytes:
    written = BytesIO()
    picture.save(written, "JPEG", quality=quality, optimize=True)
    return written.getvalue()
