"""The checklist of SECURITY.md names tests that exist, and says what is open."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROW = re.compile(r"^\| (.+) \| (.+) \| (.+) \|$")


def test_each_measure_has_a_test_or_says_why_not():
    there = {
        name
        for file in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"^def (test_\w+)", file.read_text(), re.MULTILINE)
    }
    text = (ROOT / "SECURITY.md").read_text().partition("## Checklist")[2]
    rows = [match.groups() for line in text.splitlines() if (match := ROW.match(line))]
    assert len(rows) > 50
    wrong = []
    for measure, source, state in rows[2:]:
        named = re.findall(r"`(\w+)`", state)
        told = state.startswith(("open: ", "not applicable: "))
        if not source or bool(named) == told or not set(named) <= there:
            wrong.append((measure, state))
    assert wrong == []
