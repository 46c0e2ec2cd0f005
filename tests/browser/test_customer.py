"""The customer on a telephone reads the quote, answers it, sees where the device is."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from billing.changes.models import ChangeAnswer
from billing.quotes.links import create_link
from billing.quotes.models import Quote
from tests import make
from tests.billing import till
from tests.billing.changes.test_change_order import record
from tests.browser.rules import axe

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.once]
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


def address(job):
    token = create_link(job, stamp=make.stamp())[1]
    return f"/q/{token}/"


@pytest.fixture
def phone(live_server, new_context):
    """Opens somebody's own browser, which has never been here."""

    def take_out(**how):
        context = new_context(base_url=live_server.url, **PHONE | how)
        context.set_default_timeout(90_000)
        page = context.new_page()
        page.complaints, page.asked = [], []
        page.on("console", lambda said: page.complaints.append(said.text))
        page.on("pageerror", lambda said: page.complaints.append(str(said)))
        page.on("request", lambda request: page.asked.append(request))
        return page

    return take_out


def sound(page):
    assert axe(page) == []
    for width in (390, 320):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.set_viewport_size(PHONE["viewport"])


@pytest.mark.parametrize("scripts", [True, False])
def test_from_the_quote_to_the_customers_yes(phone, live_server, stocked_shop, scripts):
    quote = till.sent(on=timezone.localdate())
    page = phone(java_script_enabled=scripts)
    page.goto(address(quote.job))
    if scripts:
        sound(page)
    lasting = quote.options.get(fix_type="lasting")
    page.get_by_label(lasting.title).check()
    page.get_by_label("Your name").first.fill("Ada Fenwick")
    page.get_by_role("button", name="Order with obligation to pay").click()
    page.get_by_text("Approved. The repair").wait_for()
    quote.refresh_from_db()
    assert (quote.state, quote.accepted_option, quote.answered_how) == (
        "accepted",
        lasting,
        "link",
    )
    if scripts:
        sound(page)
    assert page.complaints == []
    here = {request.url.startswith(live_server.url) for request in page.asked}
    assert here == {True}
    # The token is in the address only: no request tells it to anybody in its header.
    token = page.url.split("/")[-2]
    for request in page.asked:
        assert token not in request.all_headers().get("referer", "")


def test_a_name_left_out_is_asked_for_and_a_no_says_why(phone, stocked_shop):
    quote = till.sent(on=timezone.localdate())
    page = phone()
    page.goto(address(quote.job))
    page.get_by_role("button", name="Order with obligation to pay").click()
    page.get_by_role("heading", name="problems").wait_for()
    sound(page)
    page.locator("summary", has_text="Decline quote").click()
    page.get_by_label("Reason").fill("I have another one by now.")
    page.get_by_label("Your name").last.fill("Ada Fenwick")
    page.get_by_role("button", name="Decline quote").click()
    page.get_by_text("We are reassembling").wait_for()
    assert Quote.objects.get().answer_why == "I have another one by now."


def test_a_quote_revised_while_it_is_open_is_shown_again(phone, stocked_shop):
    from billing.quotes import drafting, sending

    quote = till.sent(on=timezone.localdate())
    page = phone()
    page.goto(address(quote.job))
    new = drafting.revise(quote, stamp=make.stamp())
    sending.send(new, stamp=make.stamp())
    page.get_by_label("Lasting mend").check()
    page.get_by_label("Your name").first.fill("Ada Fenwick")
    page.get_by_role("button", name="Order with obligation to pay").click()
    page.get_by_text("changed meanwhile").wait_for()
    sound(page)
    assert [one.state for one in Quote.objects.order_by("version")] == [
        "replaced",
        "sent",
    ]


def test_a_change_is_agreed_to_on_the_telephone(phone, stocked_shop):
    change = record(till.accepted().job)
    page = phone(color_scheme="dark")
    page.goto(address(change.quote.job))
    sound(page)
    page.get_by_label("Your name").fill("Ada Fenwick")
    page.get_by_role("button", name="Order extra work with obligation to pay").click()
    page.get_by_text("Also agreed").wait_for()
    sound(page)
    assert ChangeAnswer.objects.get().decision == "yes"


def test_a_link_that_opens_nothing_says_whom_to_ask(phone, stocked_shop):
    page = phone()
    page.goto("/q/nothing/")
    expect(page.get_by_role("heading", name="This link is not valid")).to_be_visible()
    sound(page)


def test_the_customer_signs_on_the_counters_screen(sign_in, stocked_shop):
    quote = till.sent(on=timezone.localdate())
    counter = sign_in("counter")
    counter.goto(quote.get_absolute_url())
    counter.get_by_role("link", name="Customer link").click()
    counter.get_by_role("button", name="Create link").click()
    counter.get_by_role("heading", name="New link (shown once)").wait_for()
    assert axe(counter) == []
    counter.get_by_role("link", name="Open customer screen").click()
    counter.wait_for_url("**/sign/*/")
    assert axe(counter) == []
    assert counter.get_by_role("navigation").count() == 0
    pad = counter.locator(".pad svg")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    counter.mouse.move(box["x"] + 60, box["y"] + 90)
    counter.mouse.down()
    for n in range(1, 20):
        counter.mouse.move(box["x"] + 60 + 15 * n, box["y"] + (60 if n % 2 else 120))
    counter.mouse.up()
    counter.get_by_label("Lasting mend").check()
    counter.get_by_label("Your name").first.fill("Ada Fenwick")
    counter.get_by_role("button", name="Order with obligation to pay").click()
    counter.get_by_text("Please return the screen now").wait_for()
    quote.refresh_from_db()
    assert quote.answered_how == "screen" and quote.signature.ink.count("L") > 10
    counter.get_by_role("link", name="Back to the quotes").click()
    counter.goto(quote.get_absolute_url())
    signature = counter.get_by_role("img", name="Signature of Ada Fenwick")
    assert signature.bounding_box()["height"] > 40
    counter.get_by_role("link", name="Extra work").click()
    counter.wait_for_url(f"**/job/{quote.job.pk}/")
    assert axe(counter) == [] and counter.complaints == []
