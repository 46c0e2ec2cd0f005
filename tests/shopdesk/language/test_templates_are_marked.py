"""Every text of a page asks for its translation."""

import re
from html.parser import HTMLParser

from django.template.base import Lexer, TokenType

from tests.shopdesk.language.sources import files

ATTRIBUTES = {"alt", "aria-label", "data-saving", "label", "placeholder", "title"}
SAME_IN_ALL = set(
    "API BIC CSV EAN IBAN IMEI JSON MB PDF QR TSV TXT URL XLSX XML ZIP kB min".split()
)
"""What is written alike in every language."""

AS_CODE = {"code", "kbd", "pre", "script", "style"}
VALUE = "\ufffc"  # what stands for a tag of the template
LITERAL = re.compile(
    r"""(?:default|default_if_none|yesno|add|join):"([^"]*)"|=\s*"([^"]*)\""""
)
VOID = {"br", "img", "input", "wbr"}
NO_TEXT = ("url", "static", "icon", "load", "extends", "query")


def is_code(attrs):
    """Whether an element shows a code or an example, which no language changes."""
    return "code" in (dict(attrs).get("class") or "").split()


def words(text):
    return [w for w in re.findall(r"[^\W\d_]{2,}", text) if w not in SAME_IN_ALL]


class Texts(HTMLParser):
    """Collects the texts and visible attributes that hold words."""

    def __init__(self):
        super().__init__()
        self.found, self.inside = [], []

    def handle_starttag(self, tag, attrs):
        if self.inside or tag in AS_CODE or is_code(attrs):
            self.inside += [] if tag in VOID else [tag]
        for name, value in attrs:
            is_button = name == "value" and ("type", "submit") in attrs
            is_button = is_button and tag == "input"
            if (name in ATTRIBUTES or is_button) and words(value or ""):
                self.found.append(value)

    def handle_endtag(self, tag):
        if self.inside and tag not in VOID:
            self.inside.pop()

    def handle_data(self, text):
        if not self.inside and words(text):
            self.found.append(" ".join(text.split()))


def unmarked(source):
    """The texts of a template that are not translated."""
    page, skip_to, found = "", "", []
    for token in Lexer(source).tokenize():
        name = token.contents.split(" ")[0]
        if skip_to:
            skip_to = "" if name == skip_to else skip_to
        elif token.token_type == TokenType.TEXT:
            page += token.contents
        elif name in ("comment", "blocktranslate", "verbatim"):
            skip_to = f"end{name}"
            page += VALUE
        elif name == "block" and token.contents.endswith("_class"):
            skip_to = "endblock"
        elif token.token_type != TokenType.COMMENT:
            page += VALUE
            if "|pluralize" in token.contents:
                found.append(token.contents)
            is_if = name in ("if", "elif")
            if name not in (*NO_TEXT, "translate") and not is_if:
                literals = ("".join(pair) for pair in LITERAL.findall(token.contents))
                found += [
                    one
                    for one in literals
                    if re.match(r"[A-Z][a-z]|.*[a-z] [a-z]", one)
                ]
    reader = Texts()
    reader.feed(page)
    return found + reader.found


def test_no_text_of_a_template_is_unmarked():
    found = {
        name: texts for name, source in files("html") if (texts := unmarked(source))
    }
    assert found == {}


def test_the_scan_sees_what_it_is_for():
    assert unmarked("<p>Job {{ n }}</p>") == [f"Job {VALUE}"]
    assert unmarked('<a title="New job">{{ x|default:"None yet" }}</a>') == [
        "None yet",
        "New job",
    ]
    assert unmarked("{{ n }} {% translate 'job' %}{{ n|pluralize }}") == ["n|pluralize"]
    assert unmarked('{% include "a.html" with why="Not yet" %}') == ["Not yet"]
    assert (
        unmarked(
            "{% blocktranslate %}Job{% endblocktranslate %} <code>x1 ab</code> CSV"
        )
        == []
    )
