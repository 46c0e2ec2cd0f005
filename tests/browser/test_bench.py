"""The bench by keyboard: the job page leads from one step to the next."""

from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from repairs.jobs import states
from repairs.jobs.models import Job
from tests import make
from tests.browser.rules import settled

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.once]
MAX_PRESSES = 8
SCREEN = {"width": 1280, "height": 800}


class Keyboard:
    """Types and presses keys, and counts the presses besides typing."""

    def __init__(self, page):
        self.page, self.presses = page, 0

    def type(self, text):
        self.page.keyboard.type(text, delay=60)  # slower than a scanner

    def press(self, key):
        self.presses += 1
        self.page.keyboard.press(key)

    def send(self, key="Enter"):
        """Press a key that saves, and wait for what comes of it."""
        page = self.page
        opened = page.evaluate("performance.timeOrigin")
        with page.expect_response(lambda sent: sent.request.method == "POST") as sent:
            self.press(key)
        if sent.value.request.is_navigation_request():
            changed = "opened => performance.timeOrigin !== opened"
            page.wait_for_function(changed, arg=opened)
        settled(page)

    def focus_on(self, control):
        self.page.wait_for_function(
            "id => document.activeElement?.id === id", arg=control
        )


def count_one_try(page, repair):
    """A press of the button counts one try, and the button keeps the focus."""
    button = page.locator(f"#clean-try-{repair.pk}")
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#final-test")).to_contain_text("1 so far")
    expect(button).to_be_focused()
    page.locator(f"#id_final-test-{repair.pk}-tries").focus()


def test_a_repair_takes_eight_key_presses_on_one_page(sign_in, stocked_shop):
    fault = make.fault("USB-DEAD", "Port dead")
    earlier = make.past_repair(fault, make.fix(fault), on=make.DAY)
    job = make.comeback(earlier, on=make.DAY, assessment=states.SAME_FAULT).job
    job.repairs.all().delete()
    Job.objects.filter(pk=job.pk).update(state=states.BOOKED_IN)
    page = sign_in("bench", viewport=SCREEN)
    page.goto(f"/bench/{job.pk}/")
    keys = Keyboard(page)
    keys.focus_on("id_findings-failed")
    keys.type("3")
    keys.press("Tab")
    keys.type("3")
    keys.send()
    keys.focus_on("id_fault-fault")
    keys.type("PWR-JACK-OPEN")
    keys.send()
    for _ in range(2):  # complete the diagnosis, start the warranty repair
        keys.focus_on("next-send")
        keys.send()
    keys.focus_on("use-first")
    keys.send()
    keys.focus_on("next-send")
    keys.send()  # with the usual part, which is ticked
    repair = job.repairs.get()
    keys.focus_on(f"id_final-test-{repair.pk}-tries")
    count_one_try(page, repair)
    keys.type("9")
    keys.send()
    job.refresh_from_db()
    assert job.state == states.TESTED
    assert repair.parts_used.get().part.number == "SOC-5P"
    assert keys.presses <= MAX_PRESSES
    assert urlsplit(page.url).path == f"/bench/{job.pk}/"
    assert page.complaints == []


def test_the_next_control_is_on_the_first_screen_in_every_state(sign_in, stocked_shop):
    """With much on record: readings, minutes, parts; and at most two screens in all."""
    page = sign_in("owner", viewport=SCREEN)
    fault = make.fault("USB-DEAD", "Port dead", hazard="heat")
    fix = make.fix(fault)
    fix.usual_parts.create(part=make.part(number="P-1", on_hand=4))
    off, long = {}, {}
    for state in states.LABELS:
        done = state in (states.READY, states.HANDED_OVER)
        job = make.job(
            state=state,
            outcome=states.FIXED if done else "",
            handed_over_on=make.DAY if state == states.HANDED_OVER else None,
            complaint="Nothing I plug in is detected. " * 4,
            verified_failures=3,
            verified_tries=4,
        )
        later = state in {*states.LABELS} - {states.EXPECTED, states.BOOKED_IN}
        if later:
            make.repair(job, fault, fix=fix)
        for n in range(12):
            job.readings.create(
                test_point=f"rail {n}", value=n, unit="V", read_at=make.stamp().at
            )
        page.goto(f"/bench/{job.pk}/")
        settled(page)
        control = page.locator("#next").get_attribute("data-focus")
        place = page.evaluate(
            "id => document.getElementById(id)?.getBoundingClientRect().bottom", control
        )
        if place is not None and place > SCREEN["height"]:
            off[state] = place
        height = page.evaluate("document.documentElement.scrollHeight")
        if height > 2 * SCREEN["height"]:
            long[state] = height
    assert (off, long) == ({}, {})
