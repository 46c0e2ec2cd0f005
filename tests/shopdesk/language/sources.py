"""The files whose texts are translated."""

from pathlib import Path

ROOT = Path(__file__).parent.parent.parent.parent
APPS = ("shopdesk", "repairs", "billing")
UNFINISHED = [
    line
    for line in Path(__file__).with_name("unfinished.txt").read_text().splitlines()
    if not line.startswith("#")
]
IN_ENGLISH = (
    "shopdesk/api/answers.py",
    "shopdesk/api/bearer.py",
    "shopdesk/api/endpoints.py",
    "shopdesk/api/json_api.py",
    "shopdesk/demo/",
    "shopdesk/front/pages.py",
    "shopdesk/keeping/",
    "shopdesk/management/",
    "shopdesk/papers/weasy.py",
    "shopdesk/serving/",
    "templates/shopdesk/look/all.html",
    "repairs/management/",
    "billing/management/",
    "shopdesk/migrations/",
    "repairs/migrations/",
    "billing/migrations/",
)
"""What speaks to the administrator or to programs, or is data or an example."""


def is_unfinished(name):
    return name.startswith(tuple(UNFINISHED))


def files(kind):
    """(name, text) of each finished file of a kind, such as html."""
    folders = ("templates",) if kind == "html" else APPS
    for folder in folders:
        for path in sorted((ROOT / folder).rglob(f"*.{kind}")):
            name = path.relative_to(ROOT).as_posix()
            if not is_unfinished(name) and not name.startswith(IN_ENGLISH):
                yield name, path.read_text()
