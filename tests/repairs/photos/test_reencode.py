"""Only pixels of a photo are stored, upright and small, and no file costs the shop."""

import struct
import time
from io import BytesIO
from zlib import crc32

import pytest
from PIL import Image, PngImagePlugin

from repairs.photos import reencode as room
from repairs.photos.reencode import PictureError, reencode
from repairs.photos.uploading import new_pictures
from tests.repairs.photos.files import drawn, sent
from tests.shopdesk.shop.pictures import flood

SECRET = b"Mill Lane 4"


def opened(content):
    return Image.open(BytesIO(content))


def with_metadata(form):
    """A picture with a place, a serial, a comment, XMP, a profile and hidden data."""
    exif = Image.Exif()
    exif[0x010F] = SECRET.decode()
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    facts = {"exif": exif, "icc_profile": b"profile " + SECRET, "xmp": SECRET}
    if form == "JPEG":
        facts["comment"] = SECRET
    if form == "PNG":
        facts["pnginfo"] = PngImagePlugin.PngInfo()
        facts["pnginfo"].add_text("Comment", SECRET.decode())
        del facts["xmp"]
    tail = b"<script>alert('" + SECRET + b"')</script>"
    return drawn(form, color="red", **facts) + tail


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_pixels_stay_and_metadata_and_hidden_data_go(form):
    before = with_metadata(form)
    assert SECRET in before
    new = reencode(before)
    for content in (new.picture, new.thumbnail):
        picture = opened(content)
        assert picture.format == "JPEG" and set(picture.info) <= {
            *("jfif", "jfif_version", "jfif_unit", "jfif_density"),
        }
        assert not picture.getexif()
        assert SECRET not in content and b"script" not in content
        # The last bytes are the mark of the end.
        assert content.endswith(b"\xff\xd9")
    red, green, blue = opened(new.picture).getpixel((60, 20))
    assert red > 240 and green < 20 and blue < 20


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_photo_taken_sideways_is_turned_upright(form):
    exif = Image.Exif()
    exif[0x0112] = 6
    content = drawn(form, size=(64, 48), color="blue", left="white", exif=exif)
    new = reencode(content)
    assert (new.width, new.height) == (48, 64)
    picture = opened(new.picture)
    assert min(picture.getpixel((24, 10))) > 240  # the left half is now above
    assert picture.getpixel((24, 55))[0] < 20


def test_a_large_photo_is_made_small_and_has_a_thumbnail():
    new = reencode(drawn(size=(4000, 3000)))
    assert (new.width, new.height) == opened(new.picture).size == (2000, 1500)
    assert opened(new.thumbnail).size == (320, 240)


def test_what_is_transparent_becomes_white():
    written = BytesIO()
    Image.new("LA", (20, 20), (0, 0)).save(written, "PNG")
    assert opened(reencode(written.getvalue()).picture).getpixel((9, 9)) == (
        *(255, 255, 255),
    )


def claims(width, height):
    """A PNG whose header claims this size, with hardly any data."""
    content = drawn("PNG", size=(8, 8))
    head = struct.pack(">II", width, height) + content[24:29]
    return content[:16] + head + struct.pack(">I", crc32(b"IHDR" + head)) + content[33:]


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", room.NOT_A_PICTURE),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", room.NOT_A_PICTURE),
        (b"%PDF-1.7", room.NOT_A_PICTURE),
        (drawn("GIF"), room.NOT_A_PICTURE),
        (drawn("TIFF"), room.NOT_A_PICTURE),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 60, room.HEIC),
        (drawn(size=(640, 480))[:-300], room.DAMAGED),
        (claims(13_000, 13_000), room.TOO_MANY_PIXELS),
        (claims(60_000, 60_000), room.TOO_MANY_PIXELS),
        (flood(9000, 9000), room.TOO_MANY_PIXELS),
        (flood(6500, 6200), room.TOO_MANY_PIXELS),
    ],
)
def test_other_files_are_refused_by_their_header(content, reason):
    began = time.process_time()
    with pytest.raises(PictureError, match=reason):
        reencode(content)
    assert time.process_time() - began < 0.5


def test_each_bad_file_is_named_and_the_good_ones_are_used(monkeypatch):
    monkeypatch.setattr("repairs.photos.uploading.MAX_BYTES", 100_000)
    files = [
        sent("one.jpg"),
        sent("notes.jpg", b"Not a picture"),
        sent("two.png", form="PNG"),
        sent("big.jpg", b"x" * 100_001),
    ]
    found = new_pictures(files)
    assert [picture.width for picture in found.pictures] == [64, 64]
    assert found.problems == [
        "notes.jpg is not a JPEG, PNG or WebP picture, or it is damaged.",
        "big.jpg is larger than 15 MB. Make it smaller, then add it again.",
    ]


def test_a_file_that_takes_too_long_is_given_no_more_time(monkeypatch):
    monkeypatch.setattr("repairs.photos.uploading.MAX_SECONDS", 0.001)
    assert new_pictures([sent("slow.jpg")]).problems == [
        "slow.jpg could not be read in time."
    ]
