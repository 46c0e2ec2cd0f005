"""Texts for the screens that stand in Python code ask for their translation.

As far as the code shows it: what is passed on by a variable is not followed.
"""

import ast
import re

from shopdesk import errors
from tests.shopdesk.language.sources import files

REFUSALS = {name for name in vars(errors) if name.endswith("Error")}
CALLS = REFUSALS | {"ValidationError"}
METHODS = {"add_error", "success", "info", "warning", "error"}
"""Those of forms and of `messages`: their second argument is the text."""

KEYWORDS = {
    *("label", "help_text", "verbose_name", "verbose_name_plural", "empty_text"),
    *("empty_label", "caption", "message", "title", "lede", "labels", "help_texts"),
    *("error_messages", "choices"),
}
NAMES = {
    "labels",
    "help_texts",
    "verbose_name",
    "verbose_name_plural",
    "caption",
    "empty_text",
}
"""Of what is assigned in a class, such as Meta."""

JOINS = ("format", "join")
WORD = re.compile(r"[^\W\d_]{2,}")


def texts(node, *, is_choice=False):
    """The unmarked texts of an expression."""
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str) and WORD.search(node.value):
            yield node
    elif isinstance(node, ast.JoinedStr):
        if any(True for part in node.values for _ in texts(part)):
            yield node
    elif isinstance(node, ast.BinOp):
        yield from texts(node.left)
        if not isinstance(node.op, ast.Mod):
            yield from texts(node.right)
    elif isinstance(node, ast.IfExp):
        yield from texts(node.body, is_choice=is_choice)
        yield from texts(node.orelse, is_choice=is_choice)
    elif isinstance(node, (ast.BoolOp, ast.Dict)):
        for value in node.values:
            yield from texts(value)
    elif isinstance(node, (ast.List, ast.Tuple)):
        is_pair = is_choice and isinstance(node, ast.Tuple) and len(node.elts) == 2
        for part in node.elts[1:] if is_pair else node.elts:
            yield from texts(part, is_choice=is_choice and not is_pair)
    elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") in JOINS:
        yield from texts(node.func.value)


def is_choices(node):
    return any("Choices" in ast.unparse(base) for base in node.bases)


def unmarked(source):
    """The line and text of each place that a page shows, and that is not marked."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if name in CALLS:
                found += [t for one in node.args[:1] for t in texts(one)]
            elif name in METHODS and isinstance(node.func, ast.Attribute):
                found += [t for one in node.args[1:2] for t in texts(one)]
            elif name.lower().endswith("field") and name != "get_field":
                found += [t for one in node.args[:1] for t in texts(one)]
            for keyword in node.keywords:
                if keyword.arg in KEYWORDS:
                    found += texts(keyword.value, is_choice=keyword.arg == "choices")
        elif isinstance(node, ast.ClassDef):
            for part in node.body:
                if not isinstance(part, ast.Assign):
                    continue
                name = getattr(part.targets[0], "id", "")
                if is_choices(node) and isinstance(part.value, ast.Tuple):
                    found += texts(part.value.elts[1])
                elif name in NAMES:
                    found += texts(part.value)
    return [(node.lineno, ast.unparse(node)) for node in found]


def test_no_text_of_a_page_is_unmarked():
    found = {name: texts for name, source in files("py") if (texts := unmarked(source))}
    assert found == {}


def test_the_scan_sees_what_it_is_for():
    assert unmarked('raise RefusedError(f"No {x}.")') == [(1, "f'No {x}.'")]
    assert unmarked('messages.success(request, "Saved" if a else b)') == [
        (1, "'Saved'")
    ]
    assert unmarked('forms.CharField(label="Name")') == [(1, "'Name'")]
    assert unmarked('class A(TextChoices):\n  B = "b", "Bench"') == [(2, "'Bench'")]
    assert unmarked('f(choices=[("a", "Bench"), ("b", gettext("x"))])') == [
        (1, "'Bench'")
    ]
    assert unmarked('raise RefusedError(gettext("No %(x)s.") % {"x": "yes"})') == []
    assert unmarked('models.CharField(gettext_lazy("name"), max_length=9)') == []
