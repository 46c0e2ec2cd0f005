"""Which of our files are plain Python, told by their names alone.

Run by itself it prints them, for the type checker.
"""

from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOTS = ("shopdesk", "repairs", "billing")

# A file named like this speaks Django, and so does all under FRAMEWORK_FOLDERS: a
# book of many models keeps them in a folder models/.
FRAMEWORK_NAMES = frozenset(
    """
    __init__ actions admin apps checks context fields filters forms middleware models
    printing queries tables urls views
    """.split()
)
FRAMEWORK_FOLDERS = frozenset({"management", "migrations", "models", "templatetags"})
# So do the few files that stand in the front door itself.
FRONT_DOOR = frozenset(
    {"shopdesk.home", "shopdesk.settings", "shopdesk.stamp", "shopdesk.wsgi"}
)


def is_plain(module: str) -> bool:
    """Whether a dotted module name is that of a plain file."""
    *folders, name = module.split(".")
    return (
        not module.startswith("shopdesk.demo.")
        and name not in FRAMEWORK_NAMES
        and not FRAMEWORK_FOLDERS.intersection(folders)
        and module not in FRONT_DOOR
    )


def modules() -> Iterator[tuple[str, Path]]:
    """Every module of ours with its file."""
    for root in ROOTS:
        for path in sorted((ROOT / root).rglob("*.py")):
            yield ".".join(path.relative_to(ROOT).with_suffix("").parts), path


def plain_files() -> list[Path]:
    return [path for module, path in modules() if is_plain(module)]


if __name__ == "__main__":
    for path in plain_files():
        print(path.relative_to(ROOT))
