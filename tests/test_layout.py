"""The plan of the building, held by tests: what may stand where, and know of whom.

The arrows between rooms are import-linter's (see pyproject.toml); here is what it
cannot see.
"""

import ast
import re
import subprocess
import tomllib

import pytest
from plain_files import FRAMEWORK_FOLDERS, ROOT, ROOTS, is_plain, modules

MODULES = dict(modules())
ROOMS = sorted(
    {
        ".".join(path.parent.relative_to(ROOT).parts)
        for root in ROOTS
        for path in (ROOT / root).glob("*/__init__.py")
        if path.parent.name not in FRAMEWORK_FOLDERS
    }
)
TEMPLATES = sorted(
    str(path.relative_to(ROOT / "templates"))
    for path in (ROOT / "templates").rglob("*.*")
)
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())

TOP = set(
    """
    README.md DEVELOPERS.md manage.py shopdesk repairs billing templates tests
    pyproject.toml requirements.lock requirements-dev.lock Makefile .ci .gitignore
    """.split()
)
# Words that say nothing, or that are another trade's for what we call otherwise.
NEVER = set(
    """
    base common core entity estimate handler helper item lead manager service ticket
    util workorder
    """.split()
)


def tracked():
    """The files that are the project: those that git keeps."""
    command = ["git", "-c", f"safe.directory={ROOT}", "-C", ROOT, "ls-files", "-z"]
    listed = subprocess.run(command, check=True, capture_output=True, text=True)
    return [name for name in listed.stdout.split("\0") if (ROOT / name).is_file()]


# --- imports ------------------------------------------------------------------


def imports(source):
    """Every module that a source asks for, as its dotted name.

    `from a import b` may mean the module a.b or a name in a: both are told.
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


def not_for_plain_files(source):
    """What a plain file imports and must not: Django, and our files that speak it."""
    for name in imports(source):
        root = name.split(".")[0]
        ours = root in ROOTS and {name, f"{name}.__init__"} & MODULES.keys()
        if re.match(r"django($|_)", root) or (ours and not is_plain(name)):
            yield name


@pytest.mark.parametrize("module", sorted(filter(is_plain, MODULES)))
def test_a_plain_file_knows_no_django(module):
    assert list(not_for_plain_files(MODULES[module].read_text())) == []


@pytest.mark.parametrize(
    "line",
    [
        "import django",
        "from django.utils import timezone",
        "import django_filters",
        "from repairs.stock.models import Part",
        "from repairs.stock import models",
        "from repairs.jobs.models import Job",
        "def late():\n    import shopdesk.fields",
    ],
)
def test_the_rule_for_plain_files_sees(line):
    assert list(not_for_plain_files(line))


def test_the_rule_for_plain_files_lets_plain_files_meet():
    allowed = "import numpy\nfrom shopdesk.money import to_penny\nimport djangoless"
    assert list(not_for_plain_files(allowed)) == []


@pytest.mark.parametrize("module", sorted(MODULES))
def test_an_import_says_the_room(module):
    """Not the register at an app's root, and no `__init__` that passes things on."""
    source = MODULES[module].read_text()
    registers = [f"{app}.{name}" for app in ROOTS for name in ("models", "admin")]
    seen = [name for name in imports(source) if any(is_of(name, r) for r in registers)]
    if module.endswith(".__init__"):
        ours = [name for name in imports(source) if name.split(".")[0] in ROOTS]
        # Only a folder of models is asked for as one, and passes on what lies in it.
        own = module.removesuffix(".__init__")
        is_models = own.endswith(".models")
        seen += [name for name in ours if not (is_models and is_of(name, own))]
    assert seen == []


def models_by_their_file(module, source):
    """The files of a folder of models that somebody outside it asks for."""
    for name in imports(source):
        folder = re.match(r"(\w+(?:\.\w+)*\.models)\.\w+$", name)
        if folder and name in MODULES and not is_of(module, folder[1]):
            yield name


@pytest.mark.parametrize("module", sorted(MODULES))
def test_models_are_asked_for_by_their_book(module):
    assert list(models_by_their_file(module, MODULES[module].read_text())) == []


def test_the_rule_for_models_sees_a_file():
    asked = "from repairs.jobs.models.job import Job"
    assert list(models_by_their_file("repairs.bench.views", asked))
    assert not list(models_by_their_file("repairs.jobs.models.repair", asked))


def private_names_of_others(module, source):
    room = ".".join(module.split(".")[:2])
    for name in imports(source):
        ours = name.split(".")[0] in ROOTS
        if ours and re.search(r"\._[a-z]", name) and not is_of(name, room):
            yield name


@pytest.mark.parametrize("module", sorted(MODULES))
def test_no_underscore_name_crosses_a_room(module):
    assert list(private_names_of_others(module, MODULES[module].read_text())) == []


def links_by_string(source):
    """The foreign keys that name their class in quotes, where no reader sees it.

    Within one file a class may point at one that comes below it.
    """
    here = {"self", *defined(source)}
    for node in ast.walk(ast.parse(source)):
        if not (isinstance(node, ast.Call) and node.args):
            continue
        called = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if called in {"ForeignKey", "OneToOneField", "ManyToManyField"}:
            to = node.args[0]
            if isinstance(to, ast.Constant) and to.value not in here:
                yield to.value


@pytest.mark.parametrize("module", [m for m in MODULES if ".models" in m])
def test_a_foreign_key_names_a_class(module):
    assert list(links_by_string(MODULES[module].read_text())) == []


def test_the_rule_for_foreign_keys_sees_a_string():
    assert list(links_by_string("a = models.ForeignKey('stock.Part', x)"))


# --- templates ----------------------------------------------------------------


def heights():
    """How high each room stands, read from import-linter's own layers."""
    found = {}
    for contract in PROJECT["tool"]["importlinter"]["contracts"]:
        for container in contract.get("containers", []):
            floors = enumerate(reversed(contract["layers"]))
            for floor, rooms in floors:
                for room in re.findall(r"\w+", rooms):
                    found[f"{container}/{room}"] = (ROOTS.index(container), floor)
    # The front door's pages lie in templates/shopdesk itself.
    return found | {"shopdesk": (len(ROOTS), 0)}


HEIGHTS = heights()


def test_the_arrows_speak_of_every_part_of_shopdesk():
    """The contract over all packages cannot be exhaustive by itself."""
    contracts = PROJECT["tool"]["importlinter"]["contracts"]
    building, inside = (
        set(re.findall(r"\w+(?:\.\w+)*", " ".join(contract["layers"])))
        for contract in contracts[:2]
    )
    assert {f"shopdesk.{part}" for part in inside} == building - {"billing", "repairs"}


def room_of(template):
    return "/".join(template.split("/")[:-1][:2])


def may_include(template, fragment):
    """Whether a page may be made of this fragment: its own room's, or a lower one's."""
    if is_look(fragment):
        return True
    if not fragment.rsplit("/", 1)[-1].startswith("_"):
        return False
    here, there = room_of(template), room_of(fragment)
    # What stands in templates/ itself is the frame around all pages.
    return here == there or HEIGHTS[there] < HEIGHTS.get(here, (-1, -1))


def is_look(template):
    return template.startswith("shopdesk/look/")


def included(source):
    said = re.sub(r"{#.*?#}|(?s:{% comment.*?endcomment %})", "", source)
    return re.findall(r"{%\s*include\s+([^\s%]+)", said)


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_page_is_made_of_its_own_rooms_fragments_or_a_lower_rooms(template):
    source = (ROOT / "templates" / template).read_text()
    for asked in included(source):
        name = asked.strip("\"'")
        if name == asked:
            # A name that the view tells, which the next test looks at.
            assert is_look(template) or "/_" in template, f"which fragment is {asked}?"
        else:
            assert may_include(template, name), name


def shown(source):
    """The templates that Python names, f-strings too."""
    return re.findall(rf"[\"']((?:{'|'.join(ROOTS)})/[^\"'\s]+\.html)[\"']", source)


@pytest.mark.parametrize("module", sorted(MODULES))
def test_a_view_shows_its_own_rooms_pages_or_a_lower_rooms_fragments(module):
    room = "/".join(module.split(".")[:2])
    for name in shown(MODULES[module].read_text()):
        # A file of shopdesk that is in no room belongs to the front door.
        here = room if room.replace("/", ".") in ROOMS else "shopdesk"
        assert room_of(name) == here or may_include(f"{here}/page.html", name), name


def test_the_rule_for_views_sees_a_name_put_together():
    seen = shown("render(request, f'repairs/bench/_{part}.html', {})")
    assert seen == ["repairs/bench/_{part}.html"]


@pytest.mark.parametrize(
    ("template", "fragment", "allowed"),
    [
        ("repairs/bench/job.html", "repairs/bench/_parts.html", True),
        ("repairs/bench/job.html", "repairs/jobs/_steps.html", True),
        ("repairs/jobs/job.html", "repairs/bench/_parts.html", False),
        ("repairs/bench/job.html", "repairs/intake/_parts.html", False),
        ("repairs/bench/job.html", "billing/quotes/_lines.html", False),
        ("billing/quotes/quote.html", "repairs/jobs/_steps.html", True),
        ("billing/quotes/quote.html", "repairs/jobs/steps.html", False),
        ("billing/quotes/quote.html", "shopdesk/look/_errors.html", True),
        ("billing/quotes/quote.html", "shopdesk/_why_now.html", False),
        ("shopdesk/today.html", "shopdesk/_why_now.html", True),
        ("shopdesk/today.html", "billing/quotes/_lines.html", True),
        ("shopdesk/staff/people.html", "repairs/jobs/_steps.html", False),
        ("page.html", "repairs/jobs/_steps.html", False),
    ],
)
def test_the_rule_for_fragments(template, fragment, allowed):
    assert may_include(template, fragment) is allowed


@pytest.mark.parametrize("template", [t for t in TEMPLATES if t.endswith(".html")])
def test_a_page_holds_no_style_or_script_of_its_own(template):
    """The content security policy would refuse them, silently for us."""
    source = (ROOT / "templates" / template).read_text()
    inline = r"<style|\sstyle=|\son[a-z]+=|<script(?![^>]*\ssrc=)|hx-on|javascript:"
    written = re.sub(r"{%.*?%}", "", source)  # {% with one=… %} is no attribute
    assert re.findall(inline, written) == []


# --- names --------------------------------------------------------------------


def never_said(name):
    """The words in a name that we do not use, whatever case it is written in."""
    apart = re.sub(r"([a-z0-9])([A-Z])", r"\1_\2", name).lower()
    words = re.findall(r"[a-z]+", apart)
    pairs = [a + b for a, b in zip(words, words[1:], strict=False)]
    return [w for w in words + pairs if w in NEVER or w.removesuffix("s") in NEVER]


def defined(source):
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            yield node.name


@pytest.mark.parametrize("module", sorted(MODULES))
def test_code_uses_our_words(module):
    names = [module, *defined(MODULES[module].read_text())]
    # Django's own name for what hands out a model's rows.
    names = [re.sub(r"Manager$", "", name) for name in names]
    assert [(name, never_said(name)) for name in names if never_said(name)] == []


@pytest.mark.parametrize("template", TEMPLATES)
def test_templates_are_called_by_our_words(template):
    assert never_said(template) == []


@pytest.mark.parametrize(
    "name", ["TicketForm", "work_order", "repairs.utils", "line_items", "BaseTable"]
)
def test_the_rule_for_words_sees(name):
    assert never_said(name)


# --- the whole ----------------------------------------------------------------


def test_nothing_new_stands_at_the_top():
    assert {name.split("/")[0] for name in tracked()} <= TOP


@pytest.mark.parametrize("app", ROOTS)
def test_the_tests_mirror_the_rooms(app):
    folder = ROOT / "tests" / app
    tested = {p.parent.name for p in folder.glob("*/test_*.py")}
    assert tested <= {room.split(".")[1] for room in ROOMS if is_of(room, app)}


@pytest.mark.parametrize("room", ROOMS)
def test_developers_md_names_every_room(room):
    assert f"`{room.split('.')[1]}/`" in (ROOT / "DEVELOPERS.md").read_text()


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


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_says_what_and_never_where_from(lock):
    lines = locked(lock)
    assert len(lines) > 0
    assert [line for line in lines if not re.match(r"[\w.\[\],-]+==\S+ ", line)] == []
    assert [line for line in lines if "--hash=sha256:" not in line] == []
    assert "://" not in (ROOT / lock).read_text()


def test_development_has_the_very_packages_of_the_shop():
    def packages(lock):
        # What follows says on which machines, which may differ.
        return {re.split(r" ;| --hash", line)[0].strip() for line in locked(lock)}

    assert packages(LOCKS[0]) <= packages(LOCKS[1])


def test_the_locks_hold_what_pyproject_asks_for():
    def names(lines):
        found = (re.match(r"[\w.-]+", line)[0] for line in lines)
        return {re.sub(r"[-_.]+", "-", name).lower() for name in found}

    project, groups = PROJECT["project"], PROJECT["dependency-groups"]
    assert names(project["dependencies"]) <= names(locked(LOCKS[0]))
    assert names(groups["dev"]) <= names(locked(LOCKS[1]))
    assert groups["installer"][0] == locked(LOCKS[2])[0].split()[0]
