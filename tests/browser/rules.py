"""What every page must keep, as a machine can see it."""

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

AXE = Axe()
TAGS = "wcag2a wcag2aa wcag21a wcag21aa wcag22aa best-practice".split()


def axe(page):
    """What axe-core finds wrong on the page: pairs of rule and the places."""
    # Of rules that pass, one place each is enough; to list all takes half of the time.
    options = {"runOnly": TAGS, "resultTypes": ["violations"]}
    found = AXE.run(page, options=options).response
    # A rule that carries one tag only is easily left out unseen.
    assert any(rule["id"] == "target-size" for rule in found["passes"])
    return [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]]


def settled(page):
    """Wait until the page is loaded and each part of it that loads by itself is there.

    Waiting for a silent network would take half a second each time.
    """
    page.wait_for_load_state()
    expect(page.locator(".htmx-request, .htmx-swapping, .htmx-settling")).to_have_count(
        0
    )
