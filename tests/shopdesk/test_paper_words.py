"""The papers of customers speak every language that the shop can choose."""

import re
from datetime import UTC, datetime
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from shopdesk.papers import render
from shopdesk.papers.render import render_pdf
from shopdesk.shop import currencies
from shopdesk.shop.models import Shop
from tests import make
from tests.shopdesk.words_of_papers import papers, words, words_in

ROOT = Path(__file__).parent.parent.parent
APPS = ("shopdesk", "repairs", "billing")
OTHERS = sorted(set(currencies.PAPER_LANGUAGES) - {"en"})


def path_of(app, language, kind):
    return ROOT / app / "locale" / language / "LC_MESSAGES" / f"django.{kind}"


def written(language):
    """The catalogues of all apps, in one."""
    catalog = Catalog(locale=language)
    for app in APPS:
        with path_of(app, language, "po").open("rb") as file:
            for message in read_po(file, locale=language):
                catalog[message.id] = message
    return catalog


def told(catalog, pair):
    """The translation of a pair, as a list; empty where there is none."""
    found = catalog.get(pair[0])
    if found is None or found.fuzzy:
        return []
    texts = found.string if isinstance(found.string, tuple) else (found.string,)
    is_whole = all(texts) and (isinstance(found.id, tuple) == bool(pair[1]))
    return list(texts) if is_whole else []


def filled(text):
    """What a text leaves open, and the tags in it."""
    braces = [name for _, name, _, _ in Formatter().parse(text) if name]
    return sorted(braces + re.findall(r"%\(\w+\)s|<[^>]+>", text))


@pytest.mark.parametrize("language", OTHERS)
def test_every_fixed_word_of_a_paper_is_there(language):
    catalog = written(language)
    missing = {one: where for one, where in words().items() if not told(catalog, one)}
    assert missing == {}


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_leaves_open_what_the_text_leaves_open(language):
    catalog = written(language)
    for one, many in words():
        for text, wanted in zip(
            told(catalog, (one, many)), [one, many or one], strict=False
        ):
            assert filled(text) == filled(wanted), one


def test_no_paper_was_forgotten():
    assert {
        "billing/handover/warranty_certificate.html",
        "billing/handover/packing_slip.html",
        "billing/invoices/paper.html",
        "billing/quotes/paper.html",
        "billing/repair_form/paper.html",
        "repairs/intake/slip.html",
    } <= set(papers())


BARE = re.compile(r">\s*([A-Za-z][^<>{}]*?)\s*(?=[<{])")


@pytest.mark.parametrize("name", sorted(papers()))
def test_no_word_of_a_paper_is_bare(name):
    """Each stands in a tag that asks for its translation."""
    source = (ROOT / "templates" / name).read_text()
    for block in ("comment", "blocktranslate"):
        source = re.sub(rf"{{% {block}.*?end{block} %}}", "{}", source, flags=re.S)
    source = re.sub(r"{%.*?%}|{{.*?}}|{#.*?#}", "{}", source, flags=re.S)
    source = re.sub(r"<!doctype.*?>|<title>|</title>", "", source)
    bare = [b for b in BARE.findall(source) if b not in ("g",)]
    assert bare == []


def test_the_rules_see_what_they_are_for():
    assert BARE.findall("<p>Job {}</p>") == ["Job"]
    assert list(words_in('{% load i18n %}{% translate "Job" %}')) == [("Job", "")]
    assert told(written("de"), ("No such word", "")) == []


@pytest.mark.django_db
def test_a_paper_says_in_which_language_it_is(monkeypatch):
    asked = []
    monkeypatch.setattr(render, "draw_pdf", lambda paper: asked.append(paper) or b"")
    make.shop(paper_language="de")
    facts = {"shop": Shop.current()}
    at = datetime(2026, 3, 2, tzinfo=UTC)
    render_pdf("shopdesk/look/paper.html", facts, made_at=at)
    render_pdf("shopdesk/look/paper.html", facts, made_at=at, language="en")
    german, english = asked
    assert '<html lang="de">' in german["html"] and "Seite" in german["page"]
    assert '<html lang="en-gb">' in english["html"] and "Seite" not in english["page"]
