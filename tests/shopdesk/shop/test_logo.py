"""A picture from outside becomes a small clean one, or is refused in a sentence."""

import time
from io import BytesIO

import pytest
from PIL import Image, PngImagePlugin

from shopdesk.shop import logo
from shopdesk.shop.models import Shop
from tests import make
from tests.shopdesk.shop import pictures
from tests.shopdesk.shop.page import PAGE, as_typed

SVG = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"


def seen(png):
    picture = Image.open(BytesIO(png))
    assert picture.format == "PNG" and picture.mode == "RGB"
    return picture


@pytest.mark.parametrize("form", ["PNG", "JPEG", "WEBP"])
def test_each_kind_of_picture_becomes_a_png(form):
    clean = seen(logo.as_png(pictures.drawn(form)))
    assert clean.size == (600, 200)
    assert all(
        abs(a - b) < 8 for a, b in zip(clean.getpixel((9, 9)), (0, 0, 128), strict=True)
    )


def test_a_large_one_is_made_small_in_its_shape():
    assert seen(logo.as_png(pictures.drawn(size=(3000, 1000)))).size == (900, 300)
    assert seen(logo.as_png(pictures.drawn(size=(1000, 3000)))).size == (120, 360)


def test_what_is_clear_becomes_paper():
    clean = seen(logo.as_png(pictures.drawn(mode="RGBA", color=(0, 0, 0, 0))))
    assert clean.getpixel((0, 0)) == (255, 255, 255)


def test_a_picture_taken_sideways_stands_upright():
    exif = Image.Exif()
    exif[0x0112] = 6
    turned = seen(logo.as_png(pictures.drawn("JPEG", size=(300, 100), exif=exif)))
    assert turned.size == (100, 300)


def test_nothing_but_its_dots_is_kept():
    note = PngImagePlugin.PngInfo()
    note.add_text("Author", "hidden words")
    exif = Image.Exif()
    exif[0x010E] = "hidden words"
    for content in (
        pictures.drawn(pnginfo=note) + b"<script>hidden words</script>",
        pictures.drawn("JPEG", exif=exif, comment=b"hidden words"),
        pictures.drawn("WEBP", exif=exif),
    ):
        assert b"hidden words" in content
        assert b"hidden" not in logo.as_png(content)
        assert not seen(logo.as_png(content)).info


def test_the_same_picture_gives_the_same_bytes():
    assert logo.as_png(pictures.drawn()) == logo.as_png(pictures.drawn())


def test_only_the_first_of_many_frames_is_taken():
    frames = [Image.new("RGB", (60, 40), color) for color in ("red", "blue", "lime")]
    for form in ("WEBP", "PNG"):
        written = BytesIO()
        frames[0].save(
            written, form, save_all=True, append_images=frames[1:], lossless=True
        )
        assert seen(logo.as_png(written.getvalue())).getpixel((5, 5)) == (255, 0, 0)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x89PNG\r\n\x1a\n",
        SVG,
        b"<html></html>",
        b"%!PS-Adobe-3.0 EPSF-3.0\n",
        b"%PDF-1.7\n",
        pictures.drawn("GIF"),
        pictures.drawn("TIFF"),
        pictures.drawn("BMP"),
        pictures.drawn("JPEG")[:-400],
        pictures.drawn("PNG")[:60],
        pictures.drawn("WEBP")[:40],
        pictures.drawn(size=(5, 5)),
        pictures.drawn(size=(4000, 8)),
        b"\0" * (logo.MAX_BYTES + 1),
    ],
)
def test_what_is_no_picture_for_a_paper_is_refused_in_a_sentence(content):
    with pytest.raises(logo.LogoError, match=r"\.$"):
        logo.as_png(content)


@pytest.mark.parametrize("width", [9_000, 13_000, 20_000])
def test_a_small_file_of_very_many_dots_is_refused_before_it_is_unpacked(width):
    flood = pictures.flood(width, width)
    assert len(flood) < 60_000
    began = time.perf_counter()
    with pytest.raises(logo.LogoError):
        logo.as_png(flood)
    assert time.perf_counter() - began < 0.5


def send(client, content=None, **changes):
    told = as_typed(**changes)
    if content is not None:
        told["logo"] = pictures.sent(content)
    return client.post(PAGE, told)


def test_it_is_kept_shown_and_taken_away(client, owner):
    make.shop()
    assert send(client, pictures.drawn("JPEG")).status_code == 302
    assert seen(bytes(Shop.objects.get().logo)).size == (600, 200)
    assert 'src="data:image/png;base64,' in client.get(PAGE).content.decode()
    # Saved without choosing one again it stays.
    assert send(client).status_code == 302
    assert Shop.objects.get().logo
    assert send(client, **{"logo-clear": "on"}).status_code == 302
    assert Shop.objects.get().logo is None
    assert "data:image/png" not in client.get(PAGE).content.decode()


def test_a_wrong_file_is_refused_beside_its_box_and_nothing_is_lost(client, owner):
    make.shop(logo=logo.as_png(pictures.drawn()))
    before = Shop.objects.values().get()
    answer = send(client, SVG, name="Fern Lane")
    assert list(answer.context["form"].errors) == ["logo"]
    assert "The picture cannot be read" in answer.content.decode()
    assert 'value="Fern Lane"' in answer.content.decode()
    assert Shop.objects.values().get() == before


def test_a_good_file_beside_a_wrong_figure_asks_to_be_chosen_again(client, owner):
    make.shop()
    answer = send(client, pictures.drawn(), hourly_rate="1e5")
    assert set(answer.context["form"].errors) == {"hourly_rate", "logo"}
    assert Shop.objects.get().logo is None


def test_a_new_one_and_taking_it_away_at_once_is_a_contradiction(client, owner):
    make.shop()
    answer = send(client, pictures.drawn(), **{"logo-clear": "on"})
    assert list(answer.context["form"].errors) == ["logo"]


def test_pages_do_not_carry_it_along(client, owner, django_assert_num_queries):
    make.shop(logo=logo.as_png(pictures.drawn()))
    with django_assert_num_queries(1) as asked:
        assert Shop.current().name
    assert "logo" not in asked[0]["sql"]
