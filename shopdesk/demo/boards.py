"""Photos of circuit boards that never were, drawn for the demo shop."""

import random
from io import BytesIO

from PIL import Image, ImageChops, ImageDraw, ImageFilter

SIZE = 1600, 1200
DESK, MASK, COPPER = (58, 54, 49), (18, 84, 58), (34, 112, 78)
GOLD, BODY, TIN, SILK = (196, 160, 84), (30, 31, 34), (176, 178, 180), (214, 222, 210)

Box = tuple[int, int, int, int]


def board_photo(seed: int, *, damage: str = "") -> bytes:
    """Return a JPEG of a board; `damage` is "burnt", "corroded" or empty."""
    pick = random.Random(seed)
    picture = Image.new("RGB", SIZE, DESK)
    draw = ImageDraw.Draw(picture)
    draw.rounded_rectangle((110, 110, 1490, 1090), 36, fill=MASK)
    for x, y in ((170, 170), (1430, 170), (170, 1030), (1430, 1030)):
        draw.ellipse((x - 34, y - 34, x + 34, y + 34), fill=GOLD)
        draw.ellipse((x - 20, y - 20, x + 20, y + 20), fill=DESK)
    _draw_traces(draw, pick)
    chip = (620, 430, 880, 690)
    _draw_chip(draw, chip, pins=16)
    _draw_chip(draw, (1080, 370, 1220, 550), pins=8)
    _draw_chip(draw, (330, 720, 470, 860), pins=7)
    for x in range(270, 1340, 130):
        _draw_small_parts(draw, x + pick.randrange(-20, 20), 910, pick)
        _draw_small_parts(draw, x + pick.randrange(-20, 20), 270, pick)
    for x, y in ((1000, 760), (1130, 770), (1260, 730)):
        _draw_capacitor(draw, x, y, pick.randrange(44, 58))
    draw.rectangle((110, 520, 230, 680), fill=TIN)
    draw.rectangle((110, 545, 190, 655), fill=(70, 72, 75))
    if damage == "burnt":
        _stain(picture, (1010, 300, 1300, 630), [(24, 17, 13), (62, 40, 26)], pick)
    if damage == "corroded":
        _stain(picture, (200, 620, 620, 980), [(150, 190, 176), (104, 150, 128)], pick)
    return _as_taken(picture, pick)


def _draw_traces(draw: ImageDraw.ImageDraw, pick: random.Random) -> None:
    for _ in range(46):
        x, y = pick.randrange(220, 1300, 20), pick.randrange(200, 1000, 20)
        far, down = pick.randrange(60, 360, 20), pick.choice((-80, -40, 40, 80))
        corner = x + abs(down) + far
        line = [(x, y), (x + far, y), (corner, y + down), (corner + 60, y + down)]
        line = [(min(px, 1450), min(max(py, 150), 1050)) for px, py in line]
        draw.line(line, fill=COPPER, width=7, joint="curve")
        for px, py in (line[0], line[-1]):
            draw.ellipse((px - 8, py - 8, px + 8, py + 8), fill=GOLD)


def _draw_chip(draw: ImageDraw.ImageDraw, box: Box, *, pins: int) -> None:
    left, top, right, bottom = box
    step = (bottom - top) / pins
    for n in range(pins):
        y = top + step * (n + 0.25)
        draw.rectangle((left - 16, y, right + 16, y + step / 2), fill=TIN)
    draw.rectangle(box, fill=BODY)
    draw.ellipse((left + 12, top + 12, left + 28, top + 28), fill=(70, 72, 76))
    for n, width in enumerate((0.6, 0.4)):
        y = top + (bottom - top) * (0.45 + 0.16 * n)
        line = (left + 40, y, left + 40 + (right - left - 60) * width, y + 7)
        draw.rectangle(line, fill=(120, 122, 126))


def _draw_small_parts(
    draw: ImageDraw.ImageDraw, x: int, y: int, pick: random.Random
) -> None:
    for row in range(2):
        top = y + 52 * row
        draw.rectangle((x, top, x + 56, top + 28), fill=TIN)
        body = pick.choice([BODY, (150, 112, 74)])
        draw.rectangle((x + 13, top, x + 43, top + 28), fill=body)
        draw.rectangle((x - 6, top - 6, x + 62, top + 34), outline=SILK, width=2)


def _draw_capacitor(draw: ImageDraw.ImageDraw, x: int, y: int, radius: int) -> None:
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=(44, 48, 60))
    inner = radius - 7
    draw.ellipse((x - inner, y - inner, x + inner, y + inner), fill=TIN)
    draw.line((x - inner, y, x + inner, y), fill=(128, 130, 134), width=3)
    draw.line((x, y - inner, x, y + inner), fill=(128, 130, 134), width=3)


def _stain(
    picture: Image.Image,
    box: Box,
    colors: list[tuple[int, int, int]],
    pick: random.Random,
) -> None:
    """Cover a part of the board with soft blots, the last colour first."""
    left, top, right, bottom = box
    width, height = right - left, bottom - top
    for color, spread in ((colors[1], 0.5), (colors[0], 0.3)):
        mask = Image.new("L", SIZE, 0)
        draw = ImageDraw.Draw(mask)
        for _ in range(40):
            x = left + width * pick.triangular(0.5 - spread, 0.5 + spread)
            y = top + height * pick.triangular(0.5 - spread, 0.5 + spread)
            size = pick.randrange(18, 62)
            shade = pick.randrange(130, 235)
            draw.ellipse((x - size, y - size, x + size, y + size * 0.8), fill=shade)
        picture.paste(color, mask=mask.filter(ImageFilter.GaussianBlur(14)))


def _as_taken(picture: Image.Image, pick: random.Random) -> bytes:
    """Turn it a little, and light it from one side."""
    picture = picture.rotate(
        pick.uniform(-4, 4), Image.Resampling.BICUBIC, fillcolor=DESK
    )
    light = Image.linear_gradient("L").rotate(90).resize(SIZE)
    light = light.point([175 + level * 80 // 255 for level in range(256)])
    picture = ImageChops.multiply(picture, Image.merge("RGB", [light] * 3))
    written = BytesIO()
    picture.filter(ImageFilter.GaussianBlur(1.2)).save(written, "JPEG", quality=92)
    return written.getvalue()
