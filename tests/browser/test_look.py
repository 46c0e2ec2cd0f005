"""The components in a real browser: eyes, keyboard, scanner, and no scripts."""

import pytest
from django.conf import settings
from django.urls import reverse

from tests import make
from tests.browser.rules import axe

pytestmark = pytest.mark.once


@pytest.fixture
def desk(live_server, context, client):
    """A browser where an owner is signed in, and the address of the components."""
    client.force_login(make.user())
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}]
    )
    context.set_default_timeout(90_000)
    page = context.new_page()
    page.refused = []
    page.on("console", lambda said: page.refused.append(said.text))
    page.goto(live_server.url + reverse("look"))
    return page


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 320])
def test_axe_finds_nothing_and_the_page_never_scrolls_sideways(desk, scheme, width):
    desk.emulate_media(color_scheme=scheme)
    desk.set_viewport_size({"width": width, "height": 800})
    assert axe(desk) == []
    desk.get_by_role("button", name="Book in").click()
    desk.wait_for_selector("#problems")
    assert desk.title().startswith("Error: ")
    assert axe(desk) == []
    assert desk.evaluate("document.documentElement.scrollWidth") <= width
    assert desk.refused == []


@pytest.mark.django_db(transaction=True)
def test_the_summary_has_the_focus_and_leads_to_the_field(desk):
    desk.get_by_role("button", name="Book in").click()
    desk.wait_for_selector("#problems:focus")
    desk.keyboard.press("Tab")
    desk.keyboard.press("Enter")
    assert desk.evaluate("document.activeElement.id") == "id_complaint"


@pytest.mark.django_db(transaction=True)
def test_what_has_the_focus_is_outlined_and_large_enough(desk):
    seen = 0
    for _ in range(60):
        desk.keyboard.press("Tab")
        at = desk.evaluate(
            """() => {
                const one = document.activeElement, box = one.getBoundingClientRect();
                const style = getComputedStyle(one);
                return [one.tagName, parseFloat(style.outlineWidth),
                        style.outlineStyle, box.height];
            }"""
        )
        if at[0] == "BODY":
            break
        seen += 1
        assert at[1] >= 2 and at[2] != "none", at
        if at[0] in {"BUTTON", "SELECT", "TEXTAREA", "SUMMARY"}:
            assert at[3] >= 24, at
    assert seen > 15


@pytest.mark.django_db(transaction=True)
def test_a_scan_into_a_box_stays_there_and_sends_nothing(desk):
    serial = desk.locator("#id_serial")
    serial.focus()
    desk.evaluate(
        """keys => {
            const box = document.activeElement;
            for (const key of keys) {
                const down = new KeyboardEvent(
                    "keydown", {key, bubbles: true, cancelable: true});
                if (!box.dispatchEvent(down)) continue;
                if (key === "Enter") box.form.requestSubmit();
                else box.value += key;
            }
        }""",
        [*"0O1lI5S8B", "Enter"],
    )
    assert serial.input_value() == "0O1lI5S8B"
    assert desk.evaluate("document.activeElement.id") == "id_kind"
    assert desk.locator("#problems").count() == 0


@pytest.mark.django_db(transaction=True)
def test_enter_by_hand_sends_the_form_as_everywhere(desk):
    desk.locator("#id_serial").focus()
    desk.keyboard.type("0O1lI5S8B", delay=90)
    desk.keyboard.press("Enter", delay=90)
    desk.wait_for_selector("#problems")


@pytest.mark.django_db(transaction=True)
def test_a_second_click_while_sending_sends_nothing(desk):
    sent = []
    desk.on("request", lambda r: sent.append(r.url) if r.method == "POST" else None)
    button = desk.get_by_role("button", name="Book in")
    desk.evaluate(
        """() => {
            const one = [...document.querySelectorAll("button")]
                .find(b => b.textContent === "Book in");
            one.click(); one.click();
        }"""
    )
    desk.wait_for_selector("#problems")
    assert len(sent) == 1
    assert button.is_enabled()


@pytest.mark.django_db(transaction=True)
def test_without_scripts_a_form_still_answers(live_server, browser, client):
    client.force_login(make.user())
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    plain = browser.new_context(java_script_enabled=False)
    plain.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}]
    )
    page = plain.new_page()
    page.goto(live_server.url + reverse("look"))
    page.locator("#id_serial").fill("kept")
    page.get_by_role("button", name="Book in").click()
    assert page.title().startswith("Error: ")
    assert page.locator("#id_serial").input_value() == "kept"
    plain.close()


@pytest.mark.django_db(transaction=True)
def test_a_scan_with_no_box_in_hand_goes_to_the_find_box(desk):
    # Keys as quick as a scanner's, however busy this machine is.
    scan = """keys => {
        document.activeElement.blur();
        for (const key of keys) document.body.dispatchEvent(
            new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true}));
    }"""
    with desk.expect_request(lambda asked: "q=26-00412-K" in asked.url):
        desk.evaluate(scan, [*"26-00412-K", "Enter"])


@pytest.mark.django_db(transaction=True)
def test_typing_by_hand_with_no_box_in_hand_does_nothing(desk):
    before = desk.url
    desk.evaluate("document.activeElement.blur()")
    desk.keyboard.type("abcdefgh", delay=60)
    desk.keyboard.press("Enter", delay=60)
    assert desk.url == before
    assert desk.evaluate("document.activeElement.tagName") == "BODY"
