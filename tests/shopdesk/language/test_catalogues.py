"""A language of the screens is complete, and says no more than they do."""

import importlib.util
import re
from string import Formatter

import pytest
from django.conf import settings

from tests.shopdesk.language.sources import APPS, ROOT, UNFINISHED, is_unfinished

spec = importlib.util.spec_from_file_location("messages", ROOT / ".ci" / "messages.py")
messages = importlib.util.module_from_spec(spec)
spec.loader.exec_module(messages)

LANGUAGES = messages.languages()


@pytest.fixture(scope="module")
def entries():
    """All entries of a language, with the app they are in."""
    return {
        language: [
            (app, m) for app in APPS for m in messages.read(app, language) if m.id
        ]
        for language in LANGUAGES
    }


def left_open(text):
    """What a text leaves open, and the tags in it with where they lead."""
    text = text.replace("%%", "")
    braces = [name for _, name, _, _ in Formatter().parse(text) if name]
    return sorted(set(braces + re.findall(r"%\(\w+\)[sd]|</?\w+[^>]*>", text)))


@pytest.mark.parametrize("language", LANGUAGES)
def test_catalogues_are_as_make_messages_writes_them(language):
    for app, text in messages.write(language).items():
        assert messages.path_of(app, language).read_text() == text, app


@pytest.mark.parametrize("language", LANGUAGES)
def test_compiled_catalogues_are_those_that_are_written(language):
    for app in APPS:
        path = messages.path_of(app, language).with_suffix(".mo")
        assert path.read_bytes() == messages.compiled(app, language), app


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_translated(language, entries):
    missing = [
        (m.locations[0][0], m.id)
        for _, m in entries[language]
        if not is_unfinished(m.locations[0][0]) and not messages.is_translated(m)
    ]
    assert missing == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_translation_leaves_open_what_the_text_leaves_open(language, entries):
    for _, entry in entries[language]:
        if not messages.is_translated(entry):
            continue
        texts, strings = (
            (entry.id, entry.string)
            if entry.pluralizable
            else ([entry.id], [entry.string])
        )
        for string in strings:
            wanted = [left_open(text) for text in texts]
            # A form for one thing need not give its number.
            assert left_open(string) in wanted, entry.id


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_text_has_one_translation_in_all_catalogues(language, entries):
    found = {}
    for _, entry in entries[language]:
        if messages.is_translated(entry):
            key = messages.key_of(entry)
            found.setdefault(key, {})[entry.pluralizable] = entry.string
            assert found[key][entry.pluralizable] == entry.string, key


def test_an_incomplete_language_is_not_offered():
    assert set(settings.SCREEN_LANGUAGES) <= {"en", *LANGUAGES}
    assert len(settings.SCREEN_LANGUAGES) == 1 or UNFINISHED == []


def test_the_rules_see_what_they_are_for():
    assert left_open("<a href='#x'>%(n)s</a> {who} 5 %%") != left_open("%(n)s {who}")
    assert messages.is_translated(messages.Message("a", "b"))
    assert not messages.is_translated(messages.Message("a", "b", flags=["fuzzy"]))
    assert not messages.is_translated(messages.Message(("a", "as"), ("b", "")))
