"""What templates write: money, days, telephone numbers, state marks."""

from datetime import UTC, date, datetime
from decimal import Decimal

from django.template import Context, Template
from lxml import html as lxml_html

from repairs.jobs import states
from shopdesk.look.shop_formats import day, minutes, moment, money, percent, phone
from shopdesk.look.symbols import ATTENTION, ICON_OF, SHAPES, icon_for
from shopdesk.shop.models import Shop


def drawn(source, **context):
    context.setdefault("shop", Shop(pk=1))
    return Template("{% load desk %}" + source).render(Context(context))


def tree(text):
    return lxml_html.fromstring(text)


def test_money_is_rounded_half_up_and_written_as_the_shop_does():
    assert money(Decimal("365.125"), Shop(pk=1)) == "€365.13"
    german = Shop(pk=1, locale="de_DE")
    assert money(Decimal("1234567.5"), german) == "1.234.567,50\u00a0€"
    french = Shop(pk=1, locale="fr_FR")
    assert money(Decimal("1234.5"), french) == "1\u00a0234,50\u00a0€"
    yen = Shop(pk=1, currency="JPY", locale="en_GB")
    assert money(Decimal("1234.5"), yen) == "JP¥1,235"
    assert money(None, german) == ""


def test_days_and_moments_are_local(settings):
    settings.TIME_ZONE = "Europe/Berlin"
    late = datetime(2026, 3, 4, 23, 30, tzinfo=UTC)
    assert day(date(2026, 3, 5)) == "5 Mar 2026"
    assert day(late) == "5 Mar 2026"
    assert moment(late) == "5 Mar 2026, 00:30"
    assert day(None) == moment(None) == ""


def test_minutes_and_shares_read_as_said():
    assert [minutes(n) for n in (0, 59, 60, 95)] == [
        "0 min",
        "59 min",
        "1 h",
        "1 h 35 min",
    ]
    assert percent(Decimal("0.126")) == "13 %"
    assert percent(0.126, 1) == "12.6 %"
    assert percent(None) == minutes(None) == ""


def test_a_telephone_number_is_shown_as_dialled_from_the_shop():
    # 020 7946 0xxx is the range kept for drama in the United Kingdom.
    here, there = Shop(pk=1, country="GB"), Shop(pk=1, country="DE")
    assert phone("+442079460018", here) == "020 7946 0018"
    assert phone("+442079460018", there) == "+44 20 7946 0018"
    assert phone("ask at desk 3", here) == "ask at desk 3"
    assert phone("", here) == phone(None, here) == ""


def test_every_word_has_an_icon_that_can_be_drawn():
    assert set(ICON_OF.values()) <= set(SHAPES)
    assert set(ICON_OF) >= ATTENTION


def test_every_state_of_a_job_has_an_icon_of_its_own():
    labels = [str(label).lower() for label in states.LABELS.values()]
    assert all(label in ICON_OF for label in labels)
    assert len({icon_for(label) for label in labels}) == len(labels)


def test_a_badge_says_its_word_and_hides_its_icon_from_readers():
    badge = tree(drawn('{% badge "overdue" %}'))
    assert badge.text_content() == "overdue"
    assert badge.get("class") == "badge hot"
    assert badge.find("svg").get("aria-hidden") == "true"
    assert drawn("{% badge '' %}") == ""


def test_a_word_can_carry_no_markup_into_a_badge():
    assert "<b>" not in drawn("{% badge word %}", word="<b>x</b>")


def test_shares_and_limits_in_a_sentence_stay_on_one_line():
    said = drawn("{{ text|no_break }}", text="risk 42 %, limits <0.1–57 % <b> of 3–4.")
    assert said == (
        'risk <span class="whole">42 %</span>, limits <span class="whole">&lt;0.1–57 %'
        "</span> &lt;b&gt; of 3–4."
    )
