"""A shop whose papers are German gives its customers German, whatever the kind."""

import re
from datetime import UTC, datetime
from decimal import Decimal
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
import time_machine
from django.utils import translation

from billing.invoices.issuing import issue_invoice
from billing.quotes import sending
from billing.reminders.papers import default_text
from shopdesk.look.shop_formats import decimal, money, price, shop_text
from shopdesk.papers.render import document_language
from shopdesk.shop import currencies
from shopdesk.shop.models import Shop
from tests import make
from tests.billing import till
from tests.billing.all_kinds import AllKinds, text

pytestmark = [pytest.mark.django_db, pytest.mark.once]

AT = datetime(2026, 3, 5, 11, tzinfo=UTC)
WORDS = """
    about again agreed all amount and answer any are as back before below bill both by
    certificate change choose collect comes condition cover covered customer day days
    deposit device draft each email enclosed error extra fault fee fees finding fix for
    found from given good has have held hello here holds if invoice is it job labour
    lasting left look looked means more nature no none not nothing number of once
    one open or our overdue page paid parcel part parts pay please price prices
    quote receipt received reminder repair said seconds see sent serial sign slip take
    stopgap taken takes tax thank thanks that the them these they thing this times to
    total under until us version wait warranty we what when where which will with work
    wrong yes you your
""".split()
"""English that is not German as well, as "in", "was" and "so" are."""
ENGLISH_WORD = re.compile(rf"\b(?:{'|'.join(WORDS)})\b", re.IGNORECASE)
ENGLISH_FORM = re.compile(r"[€£]\d|\d\.\d\d [€£%]|\d (?:Jan|Mar|Apr|Sep)\w* 20\d\d")
BEFORE = Path(__file__).with_name("all_kinds_in_english.txt")


def made(**shop):
    with time_machine.travel(AT, tick=False):
        return AllKinds(**shop).all()


def language_of(page):
    return re.search(r'<html lang="([^"]*)"', page.content.decode())[1]


def test_all_that_a_customer_gets_is_german_and_the_desk_stays_english():
    german = made(paper_language="de")
    found = {
        name: words
        for name, said in german.said.items()
        if (words := ENGLISH_WORD.findall(said) + ENGLISH_FORM.findall(said))
    }
    assert found == {}
    assert {language_of(page) for page in german.pages.values()} == {"de"}
    for name, paper in german.papers.items():
        with pikepdf.open(BytesIO(paper)) as opened:
            assert str(opened.Root.Lang) == "de", name
    # Sums, days and numbers as Germans write them.
    assert "1.589,84 €" in german.said["quote of four"]
    assert "04.04.2026" in german.said["page with the quote"]
    assert "1.234,00 €" in german.said["page after the no"]
    for name, page in german.desk_pages.items():
        assert language_of(page) == "en-gb", name
        text = page.content.decode()
        assert "Behebt die Fehlerursache" in text and "€" in text
        assert ">Subtotal excl. tax<" in text and ">Summe netto<" not in text
    assert "€99.96" in german.desk_pages["sent"].content.decode()


@pytest.mark.paper
def test_english_ones_are_as_they_were_to_the_letter():
    """Taken down before any of them could be German."""
    english = made()
    for one in BEFORE.read_text().split("=== ")[1:]:
        name, was = one.rstrip("\n").split("\n", 1)
        if name == "letter":
            letters = [said for key, said in english.said.items() if "letter" in key]
            assert was in [said.rstrip() for said in letters]
        else:
            assert english.said[name].rstrip() == was, name
    assert {language_of(page) for page in english.pages.values()} == {"en-gb"}
    # And the list above knows English of every kind when it sees it.
    for name, said in english.said.items():
        assert ENGLISH_WORD.search(said) or said.startswith("Option "), name
    assert ENGLISH_FORM.search(english.said["quote of four"])
    assert ENGLISH_FORM.search(english.said["page with the quote"])


def test_what_was_drafted_stays_in_its_language():
    make.shop()
    quote = till.drafted()
    before = [(o.title, o.description, o.track_record) for o in quote.options.all()]
    Shop.objects.update(paper_language="de")
    assert [
        (o.title, o.description, o.track_record) for o in quote.options.all()
    ] == before
    assert quote.findings.startswith("We found: ")
    assert till.drafted().findings.startswith("Wir haben festgestellt: ")


def test_what_the_shop_typed_stays_as_it_was_typed():
    shop = make.shop(
        paper_language="de",
        warranty_text="Until the sea gives it back.",
        reminder_text="",
        slip_text="None",
    )
    bill = issue_invoice(till.ready(), stamp=make.stamp(on=till.TODAY))
    # Cover begins with the handing back, and so do the words on it.
    assert bill.text == "" and default_text(shop) == ""
    assert till.handed_over().text == "Until the sea gives it back."
    with document_language(shop):
        assert shop_text(shop, "slip_text") == "None"


@pytest.mark.paper
def test_a_long_word_is_parted_and_not_written_over_the_next_column():
    make.shop(paper_language="de")
    quote = till.drafted()
    long = "Hochspannungswandlerplatinenanschlussbuchse"
    quote.options.filter(position=1).update(title=f"{long} und {long} ersetzen")
    paper = sending.send(quote, stamp=make.stamp(on=till.TODAY)).pdf
    said = text(paper)
    assert long not in said.split("Stopgap mend")[0] and "\u2010" in said
    assert "2. Stopgap mend" in said


@pytest.mark.parametrize(
    ("language", "locale", "said"),
    [
        ("de", "en_GB", ("1.234,50\xa0€", "0,035\xa0€", "17,5")),
        ("de", "de_DE", ("1.234,50\xa0€", "0,035\xa0€", "17,5")),
        ("de", "de_CH", ("EUR\xa01’234.50", "EUR\xa00.035", "17.5")),
        ("en", "en_GB", ("€1,234.50", "€0.035", "17.5")),
        ("en", "de_DE", ("1.234,50\xa0€", "0,035\xa0€", "17,5")),
    ],
)
def test_numbers_go_with_the_language_and_the_shop_s_own_way_of_it(
    language, locale, said
):
    shop = make.shop(locale=locale, paper_language=language)
    with document_language(shop):
        shown = (
            money(Decimal("1234.5"), shop),
            price(Decimal("0.035"), shop),
            decimal(Decimal("17.50"), shop),
        )
    assert shown == said
    assert translation.get_language() == "en-gb"
    # On the screens the shop's own way holds, whatever papers speak.
    own = currencies.written(Decimal("1234.5"), currency="EUR", locale=locale)
    assert money(Decimal("1234.5"), shop) == own


def test_a_fix_without_a_history_is_known_as_one_in_every_language():
    for language in currencies.PAPER_LANGUAGES:
        make.shop(paper_language=language)
        option = till.drafted().options.first()
        assert option.has_no_history
        option.track_record = "Snorp."
        assert not option.has_no_history


def test_the_file_of_a_bill_says_in_german_why_there_is_no_tax():
    make.shop(
        paper_language="de",
        name="Qorl",
        country="DE",
        tax_id="DE123456789",
        tax_kind="reverse",
    )
    buyer = make.customer(
        einvoice="ubl", country="FR", tax_id="FR12345678901", address="Weg 1"
    )
    job = till.ready(of=make.device(buyer))
    bill = issue_invoice(job, stamp=make.stamp(on=till.TODAY))
    file = bytes(bill.ubl.file).decode()
    assert "Steuerschuldnerschaft des Leistungsempfängers" in file
    assert "Reverse charge" not in file and "Lasting mend, Arbeitszeit" in file
