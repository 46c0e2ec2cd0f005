"""A picture from outside, made into a small clean one for the head of papers."""

from io import BytesIO

from PIL import Image, ImageOps

FORMATS = ("PNG", "JPEG", "WEBP")
MOST_BYTES = 2_000_000
MOST_PIXELS = 12_000_000
LARGEST = (900, 360)
"""What is printed is no larger: 76 by 30 mm at 300 dots an inch."""
LEAST = 16


class LogoError(Exception):
    """A file that can't be used, told as a sentence."""


def as_png(content: bytes) -> bytes:
    """The picture in `content` as a new PNG on white, without anything else from it.

    Only pixels pass: no metadata, no profile, no further frames, nothing hidden behind
    the end. Its size is judged before a single pixel is unpacked.
    """
    if len(content) > MOST_BYTES:
        raise LogoError(f"Use a file of no more than {MOST_BYTES // 1_000_000} MB.")
    try:
        with Image.open(BytesIO(content), formats=FORMATS) as picture:
            _check_size(*picture.size)
            picture.seek(0)
            drawn = ImageOps.exif_transpose(picture).convert("RGBA")
    except LogoError:
        raise
    except Exception as broken:
        # A reader of broken files fails in more ways than it names.
        raise LogoError(
            "This is no picture we can read: use a whole PNG, JPEG or WebP file."
        ) from broken
    drawn.thumbnail(LARGEST, Image.Resampling.LANCZOS)
    clean = Image.new("RGB", drawn.size, "white")
    clean.paste(drawn, mask=drawn.getchannel("A"))
    written = BytesIO()
    clean.save(written, "PNG", optimize=True)
    return written.getvalue()


def _check_size(width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise LogoError(
            f"The picture has {width} × {height} dots, which is too many: make it"
            " smaller, 900 dots wide are plenty."
        )
    if min(width, height) < LEAST:
        raise LogoError(f"The picture has only {width} × {height} dots: too few.")
