"""Words that were given up stay out of the project: see discarded_words.txt."""

import ast
import re
from fnmatch import fnmatch
from pathlib import Path

from tests.test_layout import ROOT, tracked

LIST = Path(__file__).with_name("discarded_words.txt")
ENDINGS = (".py", ".html", ".md", ".po", ".sh", ".toml", ".txt", ".js", ".css", ".csv")
# Locks name packages of others; the list names the words themselves.
UNREAD = (
    *("requirements*.lock", "tests/discarded_words.txt", "tests/published/data/*"),
    "*.po",  # English that is read in its own place, and other languages
)


def rules(text):
    """The patterns of each section, each with the places where it may stand."""
    found, places = {}, None
    for line in text.splitlines():
        if not line.strip() or line.startswith("#"):
            continue
        if line.startswith("["):
            section = found.setdefault(line.strip("[]"), {})
        elif line.startswith(" "):
            where, reason = line.strip().split(": ", 1)
            assert reason, f"why may it stand in {where}?"
            places.append(where)
        else:
            pattern, _, _replacement = line.partition(" → ")
            places = section.setdefault(pattern.strip(), [])
    return found


def words_of(text):
    """The text with the words of its identifiers apart: camelCase and under_scores."""
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])|_", " ", text)


def names(source):
    """Each name that Python source defines, apart from those of tests, and its line.

    The name of a test is a sentence.
    """
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.ClassDef() | ast.FunctionDef():
                if not node.name.startswith("test_"):
                    yield node.name, node.lineno
            case ast.arg():
                yield node.arg, node.lineno
            case ast.Name(ctx=ast.Store()):
                yield node.id, node.lineno
            case ast.Attribute(ctx=ast.Store()):
                yield node.attr, node.lineno


def lines_of(section, name, text):
    """What is searched in a file: number and words of each line, or of each name."""
    if section == "names":
        if name.endswith(".py"):
            yield from ((number, words_of(word)) for word, number in names(text))
    else:
        for number, line in enumerate(text.splitlines(), 1):
            yield number, words_of(line)


def discarded(section, patterns, name, text):
    """Where a file uses what it may not: its line, the pattern, and the words there."""
    mine = [
        pattern
        for pattern, places in patterns.items()
        if not any(fnmatch(name, place) for place in places)
    ]
    if not mine:
        return
    wanted = re.compile(rf"\b(?:{'|'.join(mine)})\b", re.IGNORECASE)
    for number, line in lines_of(section, name, text):
        for hit in wanted.finditer(line):
            yield f"{name}:{number}: {hit[0]}"


def ours():
    for name in tracked():
        is_text = name.endswith(ENDINGS) or name.startswith((".ci/", "Makefile"))
        if is_text and not any(fnmatch(name, pattern) for pattern in UNREAD):
            yield name, (ROOT / name).read_text()


def test_no_discarded_word_comes_back():
    found = rules(LIST.read_text())
    assert set(found) == {"everywhere", "names"}
    wrong = [
        hit
        for name, text in ours()
        for section, patterns in found.items()
        for hit in discarded(section, patterns, name, text)
    ]
    assert wrong == []


def test_a_place_that_is_let_off_needs_it():
    texts = dict(ours())
    for section, patterns in rules(LIST.read_text()).items():
        for pattern, places in patterns.items():
            for place in places:
                needs = (
                    hit
                    for name, text in texts.items()
                    if fnmatch(name, place)
                    for hit in discarded(section, {pattern: []}, name, text)
                )
                assert next(needs, None), f"{pattern} is nowhere in {place}"


def test_the_search_sees_words_inside_names():
    text = "[everywhere]\nmend(ed)?\n    a/*: as quoted\n[names]\ntold → text\n"
    found = rules(text)
    assert found == {"everywhere": {"mend(ed)?": ["a/*"]}, "names": {"told": []}}

    def seen(source, name="b/x.py"):
        return [
            hit.split(": ")[1]
            for section, patterns in found.items()
            for hit in discarded(section, patterns, name, source)
        ]

    assert seen("class WasMended: pass") == ["Mended"]
    assert seen("def x_told(): pass") == ["told"]
    assert seen("x = 'They were told to amend it.'") == []
    assert seen("def test_who_is_told(): pass") == []
    assert seen("mended = 1", "a/x.py") == []
