"""Write the catalogues of translations: one for each app and language.

Texts come from templates and Python files. German that is there stays, also when its
text moves to another app. Texts that nothing uses any more are dropped.
"""

import ast
import sys
from collections import defaultdict
from functools import cache
from io import BytesIO
from pathlib import Path

import babel.messages.extract as babel_extract
from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.conf import settings
from django.utils.translation.template import templatize

ROOT = Path(__file__).resolve().parent.parent
APPS = ("shopdesk", "repairs", "billing")
KEYWORDS = {
    "gettext": None,
    "gettext_lazy": None,
    "gettext_noop": None,
    "ngettext": (1, 2),
    "ngettext_lazy": (1, 2),
    "pgettext": ((1, "c"), 2),
    "pgettext_lazy": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
    "npgettext_lazy": ((1, "c"), 2, 3),
}
# With a fixed date, as compiled catalogues would differ otherwise.
HEADER = """\
msgid ""
msgstr ""
"POT-Creation-Date: 2026-11-30 00:00+0000\\n"
"Language: {language}\\n"
"Plural-Forms: {plural_forms}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""


def languages() -> list[str]:
    return sorted(p.name for p in (ROOT / "shopdesk" / "locale").iterdir())


def path_of(app: str, language: str) -> Path:
    return ROOT / app / "locale" / language / "LC_MESSAGES" / "django.po"


@cache
def sources() -> dict[str, dict[str, str]]:
    """Return the text of each file that may hold texts, by app and name."""
    found: dict[str, dict[str, str]] = {app: {} for app in APPS}
    templates = ROOT / "templates"
    files = [path for path in templates.rglob("*") if path.is_file()]
    for app in APPS:
        files += (p for p in (ROOT / app).rglob("*.py") if "migrations" not in p.parts)
    for path in sorted(files):
        parts = path.relative_to(ROOT).parts
        app = parts[1] if parts[0] == "templates" else parts[0]
        app = app if app in APPS else APPS[0]
        found[app]["/".join(parts)] = path.read_text()
    return found


@cache
def texts(app: str) -> dict[tuple, tuple[str | tuple[str, str], str]]:
    """Return the texts of an app with the first file that uses each."""
    found: dict[tuple, tuple[str | tuple[str, str], str]] = {}
    for name, source in sources()[app].items():
        for key, text in _extracted(name, source):
            # The plural form of a text serves its singular, too.
            if key not in found:
                found[key] = (text, name)
            elif isinstance(text, tuple):
                found[key] = (text, found[key][1])
    return found


def _extracted(name, source):
    if not name.endswith(".py"):
        if not settings.configured:
            settings.configure()
        source = templatize(source, origin=name)
        # What a template leaves of its text would be wrongly indented Python.
        source = "\n".join(line.strip() for line in source.splitlines())
    elif "gettext" not in source:
        return
    file = BytesIO(source.encode())
    for _, text, _, context in babel_extract.extract("python", file, KEYWORDS):
        one = text[0] if isinstance(text, tuple) else text
        yield (context, one), text


@cache
def unmarked() -> dict[str, tuple[str, str]]:
    """Return each string in Python code, which `gettext` may get by a variable."""
    found: dict[str, tuple[str, str]] = {}
    for app in APPS:
        for name, source in sources()[app].items():
            if name.endswith(".py"):
                for node in ast.walk(ast.parse(source)):
                    if isinstance(node, ast.Constant) and isinstance(node.value, str):
                        found.setdefault(node.value, (app, name))
    return found


def read(app: str, language: str) -> Catalog:
    path = path_of(app, language)
    if not path.exists():
        return Catalog(locale=language)
    with path.open("rb") as file:
        return read_po(file, locale=language)


def compiled(app: str, language: str) -> bytes:
    file = BytesIO()
    write_mo(file, read(app, language))
    return file.getvalue()


def key_of(message: Message) -> tuple:
    one = message.id[0] if isinstance(message.id, tuple) else message.id
    return message.context, one


def is_translated(message: Message) -> bool:
    strings = message.string if isinstance(message.id, tuple) else [message.string]
    return all(strings) and not message.fuzzy


def write(language: str) -> dict[str, str]:
    """Return the catalogue of each app, as text."""
    old = {app: read(app, language) for app in APPS}
    known = defaultdict(list)
    for app in APPS:
        for message in old[app]:
            if message.id and is_translated(message):
                known[key_of(message)].append((app, message))
    extracted = {key for app in APPS for key in texts(app)}
    wanted = {app: dict(texts(app)) for app in APPS}
    for key, (_, message) in ((key, found[0]) for key, found in known.items()):
        if key not in extracted and key[1] in unmarked():
            app, name = unmarked()[key[1]]
            wanted[app][key] = (message.id, name)
    return {app: _text(app, language, wanted[app], known) for app in APPS}


def _text(app, language, wanted, known) -> str:
    new = Catalog(locale=language)
    for key, (text, name) in sorted(wanted.items(), key=lambda item: item[1][1]):
        one = Message(text, locations=[(name, None)], context=key[0])
        one.flags.clear()
        if "%(" in key[1]:
            one.flags.add("python-format")
        own = sorted(known[key], key=lambda found: found[0] != app)
        same_form = [m for _, m in own if isinstance(m.id, tuple) == one.pluralizable]
        if same_form:
            one.string = same_form[0].string
        new[key[1]] = one
    file = BytesIO()
    write_po(file, new, width=88, omit_header=True, include_lineno=False)
    header = HEADER.format(language=language, plural_forms=new.plural_forms)
    return _comment(app, language) + header + file.getvalue().decode()


def _comment(app, language) -> str:
    """Return the comment at the head of a catalogue, which people write."""
    path = path_of(app, language)
    if not path.exists():
        return f"# The texts of {app}/.\n#\n# After a change: make messages\n"
    return path.read_text().split('msgid ""', 1)[0]


def main() -> None:
    for language in languages():
        for app, text in write(language).items():
            path = path_of(app, language)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text)
            path.with_suffix(".mo").write_bytes(compiled(app, language))
            catalog = read(app, language)
            open_ones = [m for m in catalog if m.id and not is_translated(m)]
            print(f"{app} ({language}): {len(catalog)} texts,", end=" ")
            print(f"{len(open_ones)} not translated")
            if "--open" in sys.argv:
                for message in open_ones:
                    print(f"  {message.locations[0][0]}: {key_of(message)[1]}")


if __name__ == "__main__":
    main()
