"""What every page must keep, as a machine can see it."""

from axe_playwright_python.sync_playwright import Axe

TAGS = "wcag2a wcag2aa wcag21a wcag21aa wcag22aa best-practice".split()


def axe(page):
    """What axe-core finds wrong on the page: pairs of rule and the places."""
    found = Axe().run(page, options={"runOnly": TAGS}).response
    # A rule that carries one tag only is easily left out unseen.
    assert any(rule["id"] == "target-size" for rule in found["passes"])
    return [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]]
