"""The quote on paper: right in both sizes, kept byte for byte."""

from decimal import Decimal
from hashlib import sha256
from io import BytesIO

import pikepdf
import pytest
from django.urls import reverse

from billing.quotes import drafting, sending
from billing.quotes.models import Quote, QuoteLine
from billing.quotes.papers import render_quote_pdf
from shopdesk.shop import tax
from shopdesk.shop.tax import Tax
from tests import make
from tests.billing import till
from tests.papers import text_of

pytestmark = pytest.mark.django_db


def paper(client, quote):
    client.force_login(make.user())
    answer = client.get(reverse("quotes:paper", args=[quote.pk]))
    assert answer["Content-Type"] == "application/pdf"
    return answer.content


@pytest.mark.paper
@pytest.mark.parametrize(("size", "width"), [("A4", 595.28), ("Letter", 612)])
def test_two_options_fit_on_one_page_of_the_shops_paper(client, size, width):
    make.shop(
        paper=size, name="Tallow & Finch", address="14 Wharf Lane\nLower Hythe\nLH4 2QX"
    )
    pdf = paper(
        client, till.sent(agreed_diagnosis_fee=Decimal(25), complaint="Goes off.")
    )
    opened = pikepdf.open(BytesIO(pdf))
    assert len(opened.pages) == 1
    assert float(opened.pages[0].mediabox[2]) == pytest.approx(width, abs=0.1)
    said = text_of(pdf)
    for words in (
        "Tallow & Finch",
        "14 Wharf Lane",
        "Goes off.",
        "We found: Charging socket loose.",
        "1. Lasting mend",
        "2. Stopgap mend",
        "Stopgap repair.",
        "180 days",
        "30 days",
        "€100.80",
        "€91.20",
        "are valid until 4 Apr 2026",
        "I accept option no.",
    ):
        assert words in " ".join(said.split()), words
    assert "DRAFT" not in said


@pytest.mark.paper
@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_two_options_with_an_answer_link_fit_on_one_page(db, size, language):
    shop = make.shop(
        paper=size,
        paper_language=language,
        address="14 Wharf Lane\nLower Hythe\nLH4 2QX",
        phone="+441632960111",
        email="desk@tallow.example",
        other_contact="tallow.example/ask",
        letterhead="Electronics repair\nTuesday to Saturday, 10 am to 6 pm",
        return_shipping_price=Decimal(9),
        quote_text="We ask for a deposit on parts that we order for you.",
    )
    quote = till.drafted(
        agreed_diagnosis_fee=Decimal(25), complaint="Goes off.", came_by="post"
    )
    quote.options.update(
        track_record="We have done this repair 13 times; no comeback within 90 days so"
        " far. To be cautious, we assume about 1 in 40."
    )
    quote = sending.send(quote, stamp=make.stamp(on=till.TODAY))
    link = "https://tallow.example/q/" + "Ab1_" * 11
    pdf = render_quote_pdf(quote, shop=shop, made_at=quote.sent_at, link=link)
    assert len(pikepdf.open(BytesIO(pdf)).pages) == 1
    assert shop.quote_text in " ".join(text_of(pdf).split())


@pytest.mark.paper
def test_the_paper_is_tagged_for_readers_and_says_what_it_is(client):
    quote = till.sent()
    opened = pikepdf.open(BytesIO(paper(client, quote)))
    assert opened.Root.MarkInfo.Marked
    assert "StructTreeRoot" in str(opened.Root.keys())
    with opened.open_metadata() as facts:
        assert facts["pdfuaid:part"] == "1"
        assert facts["dc:title"] == f"Quote {quote.job.number}, version 1"


@pytest.mark.paper
def test_a_sent_paper_stays_byte_for_byte_whatever_the_shop_changes(client):
    quote = till.sent()
    before = paper(client, quote)
    make.shop(name="Another name", currency="USD", paper="Letter", tax_rate=Decimal(5))
    make.device_model(model="Slate 14").__class__.objects.update(model="Renamed")
    drafting.revise(quote, stamp=make.stamp())
    assert paper(client, quote) == before
    quote.refresh_from_db()
    assert sha256(before).hexdigest() == quote.pdf_sha256


def test_a_draft_is_marked_as_one_and_follows_the_boxes(client):
    quote = till.drafted()
    assert "DRAFT" in text_of(paper(client, quote))
    Quote.objects.update(findings="Something else was found.")
    assert "Something else was found." in text_of(paper(client, quote))


def test_what_people_type_is_text(client):
    quote = till.drafted()
    Quote.objects.update(findings="<b>bold</b> & <img src=file:///etc/passwd>")
    assert "<b>bold</b> & <img" in text_of(paper(client, quote))


@pytest.mark.paper
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_thirty_lines_and_long_words_lose_nothing(client, size):
    make.shop(paper=size)
    quote = till.drafted(fixes=["lasting"])
    option = quote.options.get()
    option.lines.all().delete()
    for n in range(1, 31):
        line = QuoteLine(
            option=option,
            position=n,
            kind="part",
            text=f"Line {n:02} " + "capacitor and its holder, with glue " * 4,
            quantity=Decimal(n),
            price=Decimal("0.035"),
            tax_rate=Decimal(20),
        )
        line.calculate(places=2)
        line.save()
    Quote.objects.update(findings="Found a lot. " * 140)
    pdf = paper(client, quote)
    assert 2 <= len(pikepdf.open(BytesIO(pdf)).pages) <= 5
    said = " ".join(text_of(pdf).split())
    for n in range(1, 31):
        assert f"Line {n:02} capacitor" in said
    assert "€0.035" in said and "Your answer" in said


@pytest.mark.parametrize(
    ("currency", "locale", "total"),
    [
        ("JPY", "ja_JP", "¥71"),
        ("KWD", "en_GB", "KWD70.800"),
        ("EUR", "de_DE", "70,80 €"),
        ("CHF", "fr_CH", "70,80 CHF"),
    ],
)
def test_money_is_written_as_in_the_shops_country(client, currency, locale, total):
    make.shop(currency=currency, locale=locale)
    said = text_of(paper(client, till.sent(fixes=["lasting"])))
    assert total in " ".join(said.replace("￥", "¥").split())


def test_prices_with_tax_say_so(client):
    make.shop(prices_include_tax=True)
    said = text_of(paper(client, till.sent(fixes=["lasting"])))
    said = " ".join(said.split())
    assert "Total incl. tax €59.00" in said and "Includes 20 % tax €9.83" in said


def test_different_taxes_are_shown_by_line(client):
    quote = till.drafted(fixes=["lasting"])
    part = QuoteLine.objects.get(kind="part")
    part.set_tax(Tax(tax.REDUCED, Decimal(5)))
    part.calculate(places=2)
    part.save()
    said = " ".join(text_of(paper(client, quote)).split())
    assert "Tax 5 % on €8.00 €0.40" in said and "Tax 20 % on €51.00 €10.20" in said
