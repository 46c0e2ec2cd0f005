"""What the demo shop has before its first job: settings, staff, parts, fault book."""

from datetime import date
from decimal import Decimal
from io import BytesIO

from PIL import Image, ImageDraw

from repairs.faults.exchange import import_book
from repairs.faults.models import Fix, Symptom, UsualPart
from repairs.stock.models import Part
from shopdesk.demo.facts import BOOK, FIXES, PARTS, SYMPTOMS
from shopdesk.shop import tax
from shopdesk.shop.logo import as_png
from shopdesk.shop.models import MarkupTier, Shop, TaxRate
from shopdesk.staff.models import Role, User

STAFF = (
    ("owner", "Maren Tollgate", Role.OWNER),
    ("bench", "Juno Pellweather", Role.BENCH),
    ("counter", "Abel Thistlewick", Role.COUNTER),
)
SHOP = {
    "name": "The Second Spark",
    "address": "7 Tinker's Hill\nMarlbeck",
    "country": "GB",
    "phone": "01632 960999",
    "email": "desk@secondspark.example",
    "other_contact": "secondspark.example/ask",
    "tax_id": "GB 000 0000 00",
    "tax_name": "VAT",
    "time_zone": "Europe/London",
    "currency": "GBP",
    "locale": "en_GB",
    "letterhead": "Electronics repair\nTuesday to Saturday, 10 am to 6 pm",
    "uses_repair_form": True,
    "owners_need_second_factor": False,  # the demo can be used at once
    "quote_text": "We ask for a deposit on parts that we order for you.",
    "payment_text": "For bank transfers, please quote the invoice number.",
    "parcel_text": "Please keep the box: it can be used again.",
}
TAX_RATES = (
    (tax.STANDARD, "17.5", date(2010, 1, 1)),
    (tax.STANDARD, "20", date(2011, 1, 4)),
    (tax.REDUCED, "5", date(2010, 1, 1)),
)
MARKUPS = ((Decimal(25), Decimal(45)), (Decimal(90), Decimal(30)))


def set_up_shop() -> tuple[User, ...]:
    """Store the shop's settings and its fault book; return its three users."""
    shop = {**SHOP, "set_up_on": date(2010, 1, 1), "logo": as_png(_logo())}
    Shop.objects.update_or_create(pk=1, defaults=shop)
    for kind, rate, starts_on in TAX_RATES:
        TaxRate.objects.create(kind=kind, rate=Decimal(rate), starts_on=starts_on)
    for starts_at, percent in MARKUPS:
        MarkupTier.objects.create(starts_at=starts_at, percent=percent)
    _create_parts()
    _create_fault_book()
    return tuple(
        User.objects.create_user(username, name=name, role=role)
        for username, name, role in STAFF
    )


def _logo() -> bytes:
    """Return the shop's logo: a spark between two leads, drawn for this shop."""
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


def _create_parts() -> None:
    parts = [
        Part(number=p.number, name=p.name, value=p.value, bin=p.bin)
        for p in PARTS.values()
    ]
    for part in parts:
        part.search = part.search_text()
    Part.objects.bulk_create(parts)


def _create_fault_book() -> None:
    import_book(BOOK)
    parts = Part.objects.in_bulk(field_name="number")
    fixes = Fix.objects.in_bulk(field_name="code")
    UsualPart.objects.bulk_create(
        UsualPart(fix=fixes[facts.code], part=parts[number], quantity=quantity)
        for facts in FIXES.values()
        for number, quantity in facts.parts
    )
    known = set(Symptom.objects.values_list("name", flat=True))
    rare = {name for seen in SYMPTOMS.values() for name in seen} - known
    Symptom.objects.bulk_create([Symptom(name=name) for name in sorted(rare)])
