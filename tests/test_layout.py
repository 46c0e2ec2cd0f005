"""The plan of the folders, held by tests: what may stand where, and know of whom.

The arrows between rooms are import-linter's, and so is what plain files may know (see
pyproject.toml); here is what it cannot see. Each test lists all offenders.
"""

import ast
import re
import subprocess
import tomllib
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOTS = ("shopdesk", "repairs", "billing")
NO_ROOMS = {"locale", "management", "migrations", "models", "static", "templatetags"}
SOURCES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts): path.read_text()
    for root in ROOTS
    for path in sorted((ROOT / root).rglob("*.py"))
    if "migrations" not in path.parts
}
ROOMS = sorted(
    {
        ".".join(path.parent.relative_to(ROOT).parts)
        for root in ROOTS
        for path in (ROOT / root).glob("*/__init__.py")
        if path.parent.name not in NO_ROOMS
    }
)
TEMPLATES = {
    str(path.relative_to(ROOT / "templates")): path.read_text()
    for path in sorted((ROOT / "templates").rglob("*.*"))
}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
CONTRACTS = PROJECT["tool"]["importlinter"]["contracts"]

TOP = set(
    """
    README.md DEVELOPERS.md manage.py shopdesk repairs billing templates tests
    pyproject.toml requirements.lock requirements-dev.lock Makefile .ci .gitignore
    OPERATIONS.md SECURITY.md CHANGELOG.md gunicorn.conf.py deploy
    """.split()
)
# These mean the same in every room; any other file name has one meaning.
KINDS = set(
    """
    __init__ actions apps checks fields filters forms guards middleware models papers
    queries states tables urls views
    """.split()
)
# Words that say nothing, or that are another trade's for what we call otherwise.
NEVER = set(
    """
    base core entity handler helper lead manager service ticket
    util workorder
    """.split()
)


def offenders(rule, files):
    """What `rule` finds in each of `files`, by the name of the file."""
    found = {name: list(rule(name, source)) for name, source in files.items()}
    return {name: wrong for name, wrong in found.items() if wrong}


def tracked():
    """The files that are the project: those that git keeps."""
    command = ["git", "-c", f"safe.directory={ROOT}", "-C", ROOT, "ls-files", "-z"]
    listed = subprocess.run(command, check=True, capture_output=True, text=True)
    return [name for name in listed.stdout.split("\0") if (ROOT / name).is_file()]


# --- imports ------------------------------------------------------------------


def imports(source):
    """Every module that a source asks for, as its dotted name.

    `from a import b` may mean the module a.b or a name in a: both are given.
    """
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, "a relative import hides the address"
            yield node.module
            yield from (f"{node.module}.{name.name}" for name in node.names)


def is_of(name, root):
    return name == root or name.startswith(root + ".")


def past_the_room(module, source):
    """Imports from the register at an app's root, or from an `__init__` that passes
    names on. Only a folder of models is asked for as one, and never by its files."""
    registers = [f"{app}.{name}" for app in ROOTS for name in ("models", "admin")]
    own = module.removesuffix(".__init__")
    for name in imports(source):
        if any(is_of(name, register) for register in registers):
            yield name
        may_pass_on = own.endswith(".models") and is_of(name, own)
        if module != own and name.split(".")[0] in ROOTS and not may_pass_on:
            yield name
        folder = re.match(r"(\w+(?:\.\w+)*\.models)\.\w+$", name)
        room = folder and folder[1].removesuffix(".models")
        if folder and name in SOURCES and not is_of(module, room):
            yield name


def private_names_of_others(module, source):
    room = ".".join(module.split(".")[:2])
    for name in imports(source):
        ours = name.split(".")[0] in ROOTS
        if ours and re.search(r"\._[a-z]", name) and not is_of(name, room):
            yield name


def links_by_string(module, source):
    """The foreign keys that name their class in quotes, where no reader sees it.

    Within one file, or one folder of models, a class may point at one below it.
    """
    folder = module.rpartition(".")[0]
    near = {name: text for name, text in SOURCES.items() if folder.endswith(".models")}
    near = [text for name, text in near.items() if name.startswith(f"{folder}.")]
    here = {"self", *(name for text in (source, *near) for name in defined(text))}
    for node in ast.walk(ast.parse(source)):
        if not (isinstance(node, ast.Call) and node.args):
            continue
        called = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if called in {"ForeignKey", "OneToOneField", "ManyToManyField"}:
            to = node.args[0]
            if isinstance(to, ast.Constant) and to.value not in here:
                yield to.value


def test_an_import_names_the_room():
    assert offenders(past_the_room, SOURCES) == {}


def test_no_underscore_name_crosses_a_room():
    assert offenders(private_names_of_others, SOURCES) == {}


def test_a_foreign_key_names_a_class():
    models = {name: text for name, text in SOURCES.items() if ".models" in name}
    assert offenders(links_by_string, models) == {}


def test_the_rules_for_imports_see_what_they_forbid():
    asked = "from repairs.jobs.models.job import Job"
    assert list(past_the_room("repairs.bench.views", asked))
    assert not list(past_the_room("repairs.jobs.models.repair", asked))
    assert list(past_the_room("repairs.bench.views", "from repairs.models import Job"))
    assert list(past_the_room("repairs.bench.__init__", "import repairs.bench.views"))
    private = "from repairs.jobs.actions import _step"
    assert list(private_names_of_others("repairs.bench.views", private))
    assert list(links_by_string("", "a = models.ForeignKey('stock.Part', x)"))


def test_the_arrows_speak_of_every_part_of_shopdesk():
    """The contract over all packages cannot be exhaustive by itself."""
    building, inside = (
        set(re.findall(r"\w+(?:\.\w+)*", " ".join(contract["layers"])))
        for contract in CONTRACTS[:2]
    )
    assert {f"shopdesk.{part}" for part in inside} == building - {"billing", "repairs"}


# --- templates ----------------------------------------------------------------


def heights():
    """How high each room stands, read from import-linter's own layers.

    What stands in no room of shopdesk, and its front, is above all.
    """
    found = {}
    for contract in CONTRACTS:
        for container in contract.get("containers", []):
            for floor, rooms in enumerate(reversed(contract["layers"])):
                for room in re.findall(r"\w+", rooms):
                    found[f"{container}/{room}"] = (ROOTS.index(container), floor)
    top = (len(ROOTS), 0)
    return found | {"shopdesk/front": top, "shopdesk": top}


HEIGHTS = heights()


def room_of(template):
    return "/".join(template.split("/")[:-1][:2])


def is_look(template):
    return template.startswith("shopdesk/look/")


def may_include(template, fragment):
    """Whether a page may be made of this fragment: its own room's, or a lower one's."""
    if is_look(fragment):
        return True
    if not fragment.rsplit("/", 1)[-1].startswith("_"):
        return False
    here, there = room_of(template), room_of(fragment)
    # What stands in templates/ itself is the frame around all pages.
    return here == there or HEIGHTS[there] < HEIGHTS.get(here, (-1, -1))


def foreign_fragments(template, source):
    source = re.sub(r"{#.*?#}|(?s:{% comment.*?endcomment %})", "", source)
    for asked in re.findall(r"{%\s*include\s+([^\s%]+)", source):
        name = asked.strip("\"'")
        if name == asked:
            # A name that the view gives, which the next rule looks at.
            if not (is_look(template) or "/_" in template):
                yield asked
        elif not may_include(template, name):
            yield name


def foreign_pages(module, source):
    """The templates that Python names, f-strings too, and its room may not show."""
    shown = rf"[\"']((?:{'|'.join(ROOTS)})/[^\"'\s]+\.html)[\"']"
    room = "/".join(module.split(".")[:2])
    here = room if room.replace("/", ".") in ROOMS else "shopdesk"
    for name in re.findall(shown, source):
        if room_of(name) != here and not may_include(f"{here}/page.html", name):
            yield name


def inline_code(template, source):
    written = re.sub(r"{%.*?%}", "", source)  # {% with one=… %} is no attribute
    inline = r"<style|\sstyle=|\son[a-z]+=|<script(?![^>]*\ssrc=)|hx-on|javascript:"
    return re.findall(inline, written)


def test_a_page_is_made_of_its_own_rooms_fragments_or_a_lower_rooms():
    assert offenders(foreign_fragments, TEMPLATES) == {}


def test_a_view_shows_its_own_rooms_pages_or_a_lower_rooms_fragments():
    assert offenders(foreign_pages, SOURCES) == {}


def test_a_page_holds_no_style_or_script_of_its_own():
    """The content security policy would refuse them, silently for us."""
    pages = {name: text for name, text in TEMPLATES.items() if name.endswith(".html")}
    assert offenders(inline_code, pages) == {}


def test_the_rules_for_templates_see_what_they_forbid():
    asked = {
        ("repairs/bench/job.html", "repairs/bench/_parts.html"): True,
        ("repairs/bench/job.html", "repairs/jobs/_steps.html"): True,
        ("repairs/jobs/job.html", "repairs/bench/_parts.html"): False,
        ("repairs/bench/job.html", "repairs/intake/_parts.html"): False,
        ("repairs/bench/job.html", "billing/quotes/_lines.html"): False,
        ("billing/quotes/quote.html", "repairs/jobs/_steps.html"): True,
        ("billing/quotes/quote.html", "repairs/jobs/steps.html"): False,
        ("billing/quotes/quote.html", "shopdesk/look/_errors.html"): True,
        ("billing/quotes/quote.html", "shopdesk/front/_reason.html"): False,
        ("shopdesk/front/today.html", "shopdesk/front/_reason.html"): True,
        ("shopdesk/front/today.html", "billing/quotes/_lines.html"): True,
        ("shopdesk/staff/people.html", "repairs/jobs/_steps.html"): False,
        ("page.html", "repairs/jobs/_steps.html"): False,
    }
    assert {pair: may_include(*pair) for pair in asked} == asked
    shown = "render(request, f'repairs/bench/_{part}.html', {})"
    assert list(foreign_pages("repairs.intake.views", shown))
    assert inline_code("", "<p style='x'>") and not inline_code("", "{% x style=1 %}")


# --- names --------------------------------------------------------------------


def defined(source):
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            yield node.name


def never_said(name):
    """The words in a name that we do not use, whatever case it is written in."""
    # Django's own name for what hands out a model's rows.
    name = re.sub(r"Manager$", "", name)
    apart = re.sub(r"([a-z0-9])([A-Z])", r"\1_\2", name).lower()
    words = re.findall(r"[a-z]+", apart)
    pairs = [a + b for a, b in zip(words, words[1:], strict=False)]
    return [w for w in words + pairs if w in NEVER or w.removesuffix("s") in NEVER]


def test_names_are_made_of_our_words():
    def rule(module, source):
        return [name for name in (module, *defined(source)) if never_said(name)]

    assert offenders(rule, SOURCES) == {}
    assert [name for name in TEMPLATES if never_said(name)] == []
    seen = ["TicketForm", "work_order", "repairs.utils", "BaseTable"]
    assert [name for name in seen if not never_said(name)] == []


def test_a_file_name_and_a_class_name_have_one_meaning():
    files, classes = defaultdict(set), defaultdict(set)
    for module, source in SOURCES.items():
        # Commands are named for who types them, by Django's rule.
        if ".management." in module:
            continue
        files[module.split(".")[-1]].add(module)
        for node in ast.parse(source).body:
            if isinstance(node, ast.ClassDef):
                classes[node.name].add(module)
    shared = {name for name, where in files.items() if len(where) > 1}
    assert sorted(shared - KINDS) == []
    shared = {name for name, where in classes.items() if len(where) > 1}
    assert sorted(shared) == []


# --- the whole ----------------------------------------------------------------


def test_files_stand_where_a_reader_looks():
    assert {name.split("/")[0] for name in tracked()} <= TOP
    developers = (ROOT / "DEVELOPERS.md").read_text()
    assert [r for r in ROOMS if f"`{r.split('.')[1]}/`" not in developers] == []
    # The tests mirror the rooms.
    tested = {
        f"{app}.{path.parent.name}"
        for app in ROOTS
        for path in (ROOT / "tests" / app).glob("*/test_*.py")
    }
    # Languages and their texts are no room: every room has some.
    assert sorted(tested - set(ROOMS)) == ["shopdesk.language"]


def test_no_file_knows_this_machine():
    """No folder of somebody's, in code, data or words."""
    somebodys = re.compile(rb"(?<![\w.~$}<-])/(?:work|root|home|Users)/[\w.]")
    found = {n: somebodys.findall((ROOT / n).read_bytes()) for n in tracked()}
    assert {name: seen for name, seen in found.items() if seen} == {}


def test_nothing_is_switched_off_or_left_undone():
    marks = ["no" + "qa", "type: " + "ignore", "mark_" + "safe", "csrf_" + "exempt"]
    marks += ["TO" + "DO", "FIX" + "ME", "mark.x" + "fail", r"\|" + "safe"]
    wrong = re.compile(rf"(?:{'|'.join(marks)})\b")
    ours = [name for name in tracked() if name.endswith((".py", ".html"))]
    found = {name: wrong.findall((ROOT / name).read_text()) for name in ours}
    assert {name: seen for name, seen in found.items() if seen} == {}


# --- locks --------------------------------------------------------------------

LOCKS = ["requirements.lock", "requirements-dev.lock", ".ci/installer.lock"]


def locked(lock):
    """Each package's line of a lock, joined with the hashes under it."""
    return (ROOT / lock).read_text().replace("\\\n", "").splitlines()


def test_a_lock_says_what_and_never_where_from():
    for lock in LOCKS:
        lines = locked(lock)
        assert len(lines) > 0
        assert [x for x in lines if not re.match(r"[\w.\[\],-]+==\S+ ", x)] == [], lock
        assert [x for x in lines if "--hash=sha256:" not in x] == [], lock
        assert "://" not in (ROOT / lock).read_text()


def test_the_locks_hold_what_pyproject_asks_for():
    def names(lines):
        found = (re.match(r"[\w.-]+", line)[0] for line in lines)
        return {re.sub(r"[-_.]+", "-", name).lower() for name in found}

    def packages(lock):
        # What follows says on which machines, which may differ.
        return {re.split(r" ;| --hash", line)[0].strip() for line in locked(lock)}

    project, groups = PROJECT["project"], PROJECT["dependency-groups"]
    assert names(project["dependencies"]) <= names(locked(LOCKS[0]))
    assert names(groups["dev"]) <= names(locked(LOCKS[1]))
    assert groups["installer"][0] == locked(LOCKS[2])[0].split()[0]
    # Development has the very packages of the shop.
    assert packages(LOCKS[0]) <= packages(LOCKS[1])
