"""The head of every paper, and the shop's words at its foot."""

from decimal import Decimal
from io import BytesIO

import pikepdf
import pytest
from PIL import Image

from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from repairs.customers.models import Customer
from repairs.intake.papers import render_slip_pdf
from shopdesk.shop import logo
from shopdesk.shop.models import MarkupTier, Shop
from tests import make
from tests.billing import till
from tests.papers import text_of
from tests.shopdesk.shop.pictures import drawn
from tests.test_papers import carried, heard

pytestmark = [pytest.mark.django_db, pytest.mark.paper]

FACTS = {
    "name": "Tallow & Finch",
    "country": "DE",
    "tax_id": "DE123456789",
    "letterhead": "Registered in Lower Hythe, no. 4711\nOpen Tuesday to Friday",
    "other_contact": "tallow.example/ask",
    "quote_text": "Half the price is due with your yes.",
    "invoice_text": "Bank: Hythe Mutual.",
}


@pytest.fixture(params=["A4", "Letter"])
def shop(request):
    picture = logo.as_png(drawn(size=(900, 300)))
    return make.shop(logo=picture, paper=request.param, **FACTS)


def billed(**customer):
    job = till.ready()
    Customer.objects.filter(pk=job.customer_id).update(**customer)
    job.refresh_from_db()
    return issue_invoice(job, stamp=make.stamp(on=till.TODAY))


def opened(pdf):
    return pikepdf.open(BytesIO(bytes(pdf)))


def pictures(opened):
    """Pictures of the paper, and what a reader hears of each."""
    drawn_ = [one for page in opened.pages for one in page.get_images().values()]
    told = [
        str(part.get("/Alt"))
        for part in opened.objects
        if isinstance(part, pikepdf.Dictionary) and part.get("/S") == "/Figure"
    ]
    return drawn_, told


def test_logo_and_lines_stand_on_every_paper(shop):
    quote = till.sent()
    bill = billed()
    note = issue_credit_note(bill, why="Wrong name.", stamp=make.stamp(on=till.TODAY))
    slip = render_slip_pdf(quote.job, shop=Shop.current())
    for paper in (bytes(quote.pdf), bill.pdf, note.pdf, slip):
        pdf = opened(paper)
        (picture, *_), told = pictures(pdf)
        assert (picture.Width, picture.Height) == (900, 300)
        assert told[0] == "Logo of Tallow & Finch"
        assert len(pdf.pages) == 1
        said = text_of(bytes(paper))
        assert "Registered in Lower Hythe, no. 4711" in said
        assert "Open Tuesday to Friday" in said and "tallow.example/ask" in said


def test_words_stand_at_the_foot_of_their_own_paper(shop):
    quote, bill = till.sent(), billed()
    note = issue_credit_note(bill, why="Wrong name.", stamp=make.stamp(on=till.TODAY))
    said = {
        "quote": text_of(bytes(quote.pdf)),
        "bill": text_of(bytes(bill.pdf)),
        "note": text_of(bytes(note.pdf)),
    }
    has = {name: FACTS["quote_text"] in words for name, words in said.items()}
    assert has == {"quote": True, "bill": False, "note": False}
    has = {name: FACTS["invoice_text"] in words for name, words in said.items()}
    assert has == {"quote": False, "bill": True, "note": False}


def test_a_paper_with_a_file_inside_bears_a_logo_that_is_allowed_there(shop):
    """PDF/A-3 (ISO 19005-3, 6.2.8) forbids smoothing; ours has nothing clear either."""
    bill = billed(einvoice="pdf", country="DE", tax_id="DE987654321", address="Weg 1")
    pdf = opened(bill.pdf)
    (picture, *_), told = pictures(pdf)
    assert told == ["Logo of Tallow & Finch"]
    assert not picture.get("/Interpolate") and "/SMask" not in picture
    assert "/AF" in pdf.Root


def test_without_a_logo_there_is_no_picture_and_no_gap_in_the_words(client):
    make.shop(name="Plain bench")
    pdf = opened(till.sent().pdf)
    drawn_, told = pictures(pdf)
    assert (drawn_, told) == ([], [])


def test_what_was_a_large_file_makes_a_small_paper():
    noise = Image.effect_noise((2400, 800), 90).convert("RGB")
    written = BytesIO()
    noise.save(written, "JPEG", quality=80)
    make.shop(logo=logo.as_png(written.getvalue()))
    assert len(till.sent().pdf) < 900_000


def test_prices_of_dear_parts_bear_their_band_on_a_quote():
    make.shop(markup=Decimal(60))
    MarkupTier.objects.create(starts_at=Decimal(2), percent=Decimal(20))
    line = till.drafted().options.first().lines.get(kind="part")
    assert (line.price, line.suggested) == (Decimal("3.00"), Decimal("3.00"))


def test_papers_in_another_language_are_right_for_a_reader_too(shop, tmp_path):
    Shop.objects.update(paper_language="de")
    bill = billed()
    note = issue_credit_note(bill, why="Falsch.", stamp=make.stamp(on=till.TODAY))
    for paper, word in (
        (bill.pdf, "Offener Betrag"),
        (note.pdf, "Rechnungskorrektur"),
        (render_slip_pdf(bill.job, shop=Shop.current()), "Abholschein"),
    ):
        pdf = opened(paper)
        assert str(pdf.Root.Lang) == "de"
        said = text_of(bytes(paper))
        assert word in said and "Seite 1 von 1" in said
        assert heard(bytes(paper), tmp_path) == [] == list(carried(bytes(paper)))
