"""The counter in a real browser: keys only, counted, and a scanner."""

import re
import time
from datetime import timedelta

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from repairs.customers.models import Customer, Device
from repairs.jobs.models import Job, ReturnAssessment
from tests import make
from tests.browser.rules import axe

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.once]


class Keys:
    """Presses keys one by one and counts them; a key held with Ctrl counts as two."""

    def __init__(self, page):
        self.page, self.pressed = page, 0

    def type(self, text):
        for letter in text:
            self.press(letter)

    def press(self, key):
        self.page.keyboard.press(key)
        self.pressed += key.count("+") + 1 if len(key) > 1 else 1

    def at(self):
        return self.page.evaluate(
            "document.activeElement.id || document.activeElement.value || ''"
        )

    def wait_for(self, there):
        self.page.wait_for_function(
            "there => [document.activeElement.id, document.activeElement.value]"
            ".includes(there)",
            arg=there,
        )


def signed_in(context, client, live_server, path):
    client.force_login(make.user("counter"))
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}]
    )
    context.set_default_timeout(90_000)
    page = context.new_page()
    page.refused = []
    page.on("console", lambda said: page.refused.append(said.text))
    page.on("pageerror", lambda wrong: page.refused.append(str(wrong)))
    page.goto(live_server.url + path)
    return page


@pytest.fixture
def counter(live_server, context, client):
    make.shop(country="GB")
    return signed_in(context, client, live_server, reverse("intake:book_in"))


@pytest.fixture
def plain_counter(live_server, browser, client):
    """The same without scripts."""
    make.shop(country="GB")
    with browser.new_context(java_script_enabled=False) as context:
        yield signed_in(context, client, live_server, reverse("intake:book_in"))


def ada():
    """A returning customer with two devices, one of which is still under warranty."""
    owner = make.customer("Ada Fenwick", phone="+442079460018")
    make.device(owner, serial="OLD-1", model=make.device_model("radio", "Tallow", "T2"))
    device = make.device(owner, serial="SN-123456")
    on = timezone.localdate() - timedelta(days=40)
    repair = make.past_repair(fault := make.fault(), make.fix(fault), on=on, of=device)
    repair.warranty_until = on + timedelta(days=180)
    repair.save()
    make.customer("Bo Larsén", phone="+442079461111")
    return device, repair


def booked(page):
    page.wait_for_url(re.compile(r"/counter/\d+/$"))
    return Job.objects.order_by("-id").first()


def test_a_returning_customer_is_booked_in_with_fewer_than_ten_keys(counter):
    device, repair = ada()
    keys = Keys(counter)
    keys.type("fenw")
    keys.press("Enter")
    keys.wait_for(f"device:{device.pk}")
    keys.press("Enter")
    keys.wait_for("id_complaint")
    before = keys.pressed
    counter.keyboard.type("Does not charge any more")
    keys.press("Control+Enter")
    job = booked(counter)
    assert (job.device, job.complaint) == (device, "Does not charge any more")
    assert ReturnAssessment.objects.get(job=job).earlier == repair
    assert before == 6 and keys.pressed == 8
    assert counter.refused == []


def test_the_second_of_two_matches_is_chosen_with_the_arrow_keys(counter):
    make.customer("Ann Fenwick")
    ada()
    keys = Keys(counter)
    keys.type("fenw")
    counter.wait_for_selector("#found .choice >> nth=1")
    keys.press("ArrowDown")
    keys.press("ArrowDown")
    keys.press("Enter")
    counter.wait_for_selector("text=Change customer")
    expect(counter.get_by_role("link", name="Ann Fenwick")).to_be_visible()
    keys.press("Control+Enter")
    counter.wait_for_selector("#problems:focus")
    assert keys.pressed <= 9 and not Job.objects.open().exists()


def test_a_new_customer_and_device_without_leaving_the_screen(counter):
    make.device_model("laptop", "Norwind", "Slate 14")
    keys = Keys(counter)
    counter.keyboard.type("Zoë Müller")
    keys.press("Enter")
    keys.wait_for("id_c-phone")
    counter.keyboard.type("020 7946 0018")
    for _ in range(50):
        if keys.at() == "id_d-serial":
            break
        keys.press("Tab")
    counter.keyboard.type("NW-77", delay=60)
    for typed in ("", "laptop", "Norwind", "Slate 14"):
        keys.press("Tab")
        counter.keyboard.type(typed)
    # "Search serial number" stands between the serial and the kind.
    counter.locator("#id_complaint").focus()
    counter.keyboard.type("Hums")
    keys.press("Control+Enter")
    job = booked(counter)
    assert (job.customer.name, job.customer.phone) == ("Zoë Müller", "+442079460018")
    assert str(job.device) == "Norwind Slate 14 NW-77"
    assert counter.refused == []


def scan(page, text):
    """As a scanner does: five milliseconds a key, and Enter.

    Each key bears the moment at which a scanner would have sent it, so that it stays a
    scanner's on a machine that is busy with other tests.
    """
    wire = page.context.new_cdp_session(page)
    at = time.time()
    for n, key in enumerate([*text, "Enter"]):
        facts = {"key": key, "timestamp": at + 0.005 * n}
        typed = "\r" if key == "Enter" else key
        if key == "Enter":
            facts |= {"code": key, "windowsVirtualKeyCode": 13}
        wire.send("Input.dispatchKeyEvent", facts | {"type": "keyDown", "text": typed})
        wire.send("Input.dispatchKeyEvent", facts | {"type": "keyUp"})
    wire.detach()


def test_a_scanned_serial_shows_the_earlier_jobs(counter):
    device, repair = ada()
    counter.locator("#id_d-serial").focus()
    scan(counter, "SN-123456")
    counter.wait_for_selector("text=This device has been here before")
    expect(counter.get_by_role("row", name=repair.job.number)).to_be_visible()
    expect(counter.locator("#id_d-serial")).not_to_be_visible()
    # Its owner brings it: one key.
    counter.wait_for_selector(f"[value='customer:{device.owner_id}']:focus")
    counter.keyboard.press("Enter")
    counter.wait_for_selector("#id_complaint:focus")
    expect(counter.get_by_role("link", name="Ada Fenwick")).to_be_visible()
    assert not Job.objects.open().exists()


def test_a_serial_scanned_into_the_customer_box_finds_both(counter):
    device, _ = ada()
    scan(counter, "sn123456")
    counter.wait_for_selector("#id_complaint:focus")
    assert counter.locator("[name=customer]").input_value() == str(device.owner_id)
    assert counter.locator("[name=device]").input_value() == str(device.pk)


@pytest.mark.parametrize(
    "box", ["id_complaint", "id_agreed_diagnosis_fee", "id_condition"]
)
def test_a_scan_in_any_box_never_books_in(counter, box):
    device, _ = ada()
    counter.keyboard.type("fenw")
    counter.keyboard.press("Enter")
    counter.wait_for_selector(f"[value='device:{device.pk}']:focus")
    counter.keyboard.press("Enter")
    counter.wait_for_selector("#id_complaint:focus")
    counter.locator("#id_complaint").fill("Hums")
    counter.locator(f"#{box}").focus()
    scan(counter, "4006381333931")
    counter.wait_for_timeout(300)
    assert counter.url.endswith(reverse("intake:book_in"))
    assert not Job.objects.open().exists()


def test_typed_text_is_kept_while_an_answer_arrives(counter):
    ada()
    counter.locator("#id_complaint").fill("Hums at night")
    counter.locator("#id_query").fill("fenw")
    counter.wait_for_selector("#found .choice")
    counter.keyboard.press("Enter")
    counter.wait_for_selector("text=Change customer")
    assert counter.locator("#id_complaint").input_value() == "Hums at night"


def test_ticking_swollen_battery_shows_its_caution(counter):
    caution = counter.get_by_label("Swollen battery").locator("text=Fire and explosion")
    expect(caution.first).not_to_be_visible()
    counter.locator("#id_has_swollen_battery").check()
    expect(caution.first).to_be_visible()


def test_a_returning_customer_is_booked_in_without_scripts(plain_counter):
    page = plain_counter
    device, repair = ada()
    page.locator("#id_query").fill("fenw")
    page.keyboard.press("Enter")
    page.locator(f"[value='device:{device.pk}']").click()
    expect(page.get_by_role("row", name=repair.job.number)).to_be_visible()
    page.locator("#id_complaint").fill("Hums")
    page.get_by_role("button", name="Book in").click()
    job = booked(page)
    assert job.device == device and job.decision.earlier == repair


def test_a_new_customer_is_booked_in_without_scripts(plain_counter):
    page = plain_counter
    page.locator("#id_query").fill("Nils Ny")
    page.get_by_role("button", name="Search", exact=True).last.click()
    page.locator("#id_c-phone").fill("020 7946 0018")
    page.locator("#id_d-serial").fill("NW-77")
    page.get_by_role("button", name="Search serial number").click()
    page.locator("#id_d-kind").fill("laptop")
    page.locator("#id_d-model").fill("Slate 14")
    page.locator("#id_complaint").fill("Hums")
    page.get_by_role("button", name="Book in").click()
    assert booked(page).customer.name == "Nils Ny"
    assert Customer.objects.count() == Device.objects.count() == 1


@pytest.mark.parametrize("width", [1280, 320])
def test_axe_finds_nothing_while_a_device_is_booked_in(counter, live_server, width):
    """Pages that no link leads to; test_every_page.py visits the others."""
    device, repair = ada()
    announced = make.job(state="expected", complaint="Hums")
    counter.set_viewport_size({"width": width, "height": 800})
    start = reverse("intake:book_in")
    pages = [
        f"{start}?query=fenw",
        f"{start}?device={device.pk}",
        reverse("intake:booked", args=[announced.pk]),
        reverse("intake:record_arrival", args=[announced.pk]),
        reverse("customers:new_owner", args=[device.pk]) + "?query=bo",
    ]
    for path in pages:
        counter.goto(live_server.url + path)
        assert axe(counter) == [], path
        wide = counter.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, path
    counter.goto(live_server.url + start + "?query=nobody")
    counter.get_by_role("button", name="Book in").click()
    counter.wait_for_selector("#problems:focus")
    assert counter.title().startswith("Error: ")
    assert axe(counter) == []
    assert counter.evaluate("document.documentElement.scrollWidth") <= width
