"""Every page of the demo shop, found by following its links as a person would."""

import time
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.db import connection
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from billing.handover.models import Parcel
from billing.repair_form.models import RepairInformationForm
from repairs.jobs.models import Job
from repairs.sheet_import.actions import start_draft
from shopdesk.staff.models import Session, User
from tests import make
from tests.browser.rules import axe, settled
from tests.repairs.sheet_import import messy
from tests.shopdesk.staff.url_roles import EXPECTED

pytestmark = pytest.mark.once

FILES = set(
    """
    paper slip label certificate parcel csv json xlsx pdf ubl receipt attachment zip
    decisions labels order_file picture thumbnail
    """.split()
)
# Not pages: documents, files, fragments, and actions without a page.
PAPERS = {name for name in EXPECTED if name.split(":")[-1] in FILES}
PAGES_OF_A_JOB = {"bench:job", "quotes:for_job", "handover:hand_over", "returns:assess"}
PAGES_OF_GROUPS = {"month:delivery", "month:model", "month:board"}

# A page of developers, and one that is handed to a customer.
WITHOUT_TEXT = {"look", "customer_links:sign_here"}

# An icon without its style fills the width of what it is in.
LARGE_ICONS = """
[...document.querySelectorAll("svg[aria-hidden=true]")]
  .map((icon) => Math.round(icon.getBoundingClientRect().width))
  .filter((width) => width > 40)
"""


def name_of(address):
    try:
        return resolve(urlsplit(address).path).view_name
    except Resolver404:
        return None


@pytest.fixture
def owner(live_server, own_demo, context, client, monkeypatch):
    client.force_login(User.objects.get(role="owner"))
    session = client.session
    # The walk through all pages may take longer than a confirmation lasts.
    monkeypatch.setattr("shopdesk.staff.signing_in.CONFIRMATION_SECONDS", 3 * 3600)
    session["confirmed"] = int(time.time())
    session.save()
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}]
    )
    context.set_default_timeout(90_000)
    page = context.new_page()
    page.messages = []
    page.on("console", lambda said: page.messages.append(said.text))
    page.on("pageerror", lambda said: page.messages.append(str(said)))
    return page


def pages(page, site):
    """One address of each page that links lead to, and each page of a job by state."""
    waiting, seen = ["/", reverse("look"), reverse("find") + "?q=ab"], {}
    for job in {job.state: job for job in Job.objects.all()}.values():
        waiting.append(job.get_absolute_url())
    # Each kind of page is opened once, and these are linked from some jobs alone.
    asked = Job.objects.filter(state="quoted", quotes__state="sent").last()
    waiting += [
        RepairInformationForm.objects.exclude(issued_at=None).last().get_absolute_url(),
        reverse("customer_links:sign_here", args=[asked.pk]),
        reverse("handover:hand_over", args=[Parcel.objects.last().job_id]),
    ]
    lines, _ = messy.rows(40)
    draft = start_draft(
        messy.text(lines).encode(), file="list.csv", max_rows=50, stamp=make.stamp()
    )
    waiting.append(draft.get_absolute_url())
    in_front = set(waiting)
    while waiting:
        address = waiting.pop(0)
        name = name_of(address)
        key = (name, address) if address in in_front else name
        if name is None or name in PAPERS or key in seen:
            continue
        answer = page.goto(site + address)
        settled(page)
        seen[key] = address
        assert page.url == site + address, elsewhere(page, address)
        yield name, address, answer
        links = page.locator("a[href^='/']").evaluate_all(
            "links => links.map(link => link.getAttribute('href'))"
        )
        # Every job of a list need not be opened: one of each state was put in front.
        waiting += [link for link in links if name_of(link) != "bench:job"]


def elsewhere(page, address):
    """What came instead, and who lost the session if it was the sign-in page: the shop,
    or the browser, which forgets all cookies when the process of its network dies.
    """
    kept = [cookie["name"] for cookie in page.context.cookies()]
    rows = Session.objects.filter(expire_date__gt=timezone.now()).count()
    return f"{address} led to {page.url}; cookies {kept}, sessions {rows}"


@pytest.mark.django_db(transaction=True)
def test_every_page_is_sound_at_both_widths(owner, live_server):
    wrong, names = [], set()
    for name, address, answer in pages(owner, live_server.url):
        names.add(name)
        if answer.status != 200:
            wrong.append((address, answer.status))
            continue
        if name not in WITHOUT_TEXT and not owner.locator("details.how").count():
            wrong.append((address, name, "does not say how it works"))
        # What axe sees does not depend on the database.
        if connection.vendor == "sqlite":
            wrong += [(address, *found) for found in axe(owner)]
        for width in (320, 1280):
            owner.set_viewport_size({"width": width, "height": 900})
            wide = owner.evaluate("document.documentElement.scrollWidth")
            if wide > width:
                wrong.append((address, f"{wide} px wide at {width}"))
            if largest := owner.evaluate(LARGE_ICONS):
                wrong.append((address, f"icons {largest} px wide at {width}"))
        wrong += [(address, said) for said in owner.messages]
        owner.messages.clear()
    assert wrong == []
    rooms = {name.split(":")[0] for name in EXPECTED}
    assert rooms == {name.split(":")[0] for name in names}
    assert names >= PAGES_OF_A_JOB | PAGES_OF_GROUPS
    assert len(names) > 45, sorted(names)
