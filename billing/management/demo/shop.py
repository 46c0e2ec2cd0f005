"""The demo shop's own figures: an invented place, its rates and its sign."""

from datetime import date
from decimal import Decimal
from io import BytesIO

from PIL import Image, ImageDraw

from shopdesk.shop import tax
from shopdesk.shop.logo import as_png
from shopdesk.shop.models import MarkupBand, Shop, TaxRate
from shopdesk.staff.models import Kind

STAFF = (
    ("owner", "Maren Tollgate", Kind.OWNER),
    ("bench", "Juno Pellweather", Kind.BENCH),
    ("counter", "Abel Thistlewick", Kind.COUNTER),
)
SHOP = {
    "name": "The Second Spark",
    "address": "7 Tinker's Hill\nMarlbeck",
    "country": "GB",
    "phone": "01632 960999",
    "email": "desk@secondspark.example",
    "other_contact": "secondspark.example/ask",
    "tax_id": "GB 000 0000 00",
    "currency": "GBP",
    "locale": "en_GB",
    "letterhead": "Electronics, mended at the bench\nTuesday to Saturday, 10 to 6",
    "uses_repair_form": True,
    "quote_words": "Parts that we order for you ask for a deposit.",
    "invoice_words": "By bank transfer please give the number of the invoice.",
    "parcel_words": "Keep the box: we are glad to use it again.",
}
RATES = (
    (tax.STANDARD, "17.5", date(2010, 1, 1)),
    (tax.STANDARD, "20", date(2011, 1, 4)),
    (tax.REDUCED, "5", date(2010, 1, 1)),
)
MARKUPS = ((Decimal(25), Decimal(45)), (Decimal(90), Decimal(30)))


def set_up() -> None:
    """Write all of it down."""
    Shop.objects.update_or_create(pk=1, defaults={**SHOP, "logo": as_png(_sign())})
    for kind, rate, starts_on in RATES:
        TaxRate.objects.create(kind=kind, rate=Decimal(rate), starts_on=starts_on)
    for starts_at, percent in MARKUPS:
        MarkupBand.objects.create(starts_at=starts_at, percent=percent)


def _sign() -> bytes:
    """A spark that jumps a gap between two leads, drawn here so that it is nobody's."""
    ink, spark = (28, 40, 51), (196, 98, 16)
    picture = Image.new("RGB", (480, 200), "white")
    draw = ImageDraw.Draw(picture)
    for near, far in ((20, 170), (460, 310)):
        draw.line([(near, 100), (far, 100)], fill=ink, width=18)
        draw.ellipse([far - 22, 78, far + 22, 122], fill=ink)
    zigzag = [(196, 100), (228, 52), (240, 104), (284, 100), (252, 148), (240, 96)]
    draw.polygon(zigzag, fill=spark)
    written = BytesIO()
    picture.save(written, "PNG")
    return written.getvalue()
