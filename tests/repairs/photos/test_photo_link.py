"""A phone adds photos by a link: to one job, for half an hour, and sees no more."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from billing.customer_page.log_masking import masked
from repairs.photos import actions
from repairs.photos.models import Photo, PhotoLink
from shopdesk.recording.models import TrailEntry
from shopdesk.staff.models import RequestCount
from tests import make
from tests.repairs.photos.files import add, sent


def address_of(page):
    """The link that a page shows."""
    return re.search(r"http://testserver(/photos/q/[\w-]{43}/)", page.text)[1]


@pytest.fixture
def link(desk, job):
    """The path of a link that staff have just made."""
    return address_of(desk.post(reverse("photos:create_link", args=[job.pk])))


@pytest.fixture
def phone():
    return Client()


def test_a_phone_adds_photos_and_sees_only_its_own(desk, job, me, link, phone):
    add(job, "navy", caption="From the counter")
    page = phone.get(link)
    assert f"Photos of job {job.number}" in page.text and "<img" not in page.text
    assert 'capture="environment"' in page.text
    files = {"camera": sent("camera.jpg", color="olive")}
    files["photos"] = [sent("one.jpg", color="teal"), sent("bad.jpg", b"x")]
    page = phone.post(link, files | {"caption": "Burnt"}, follow=True)
    assert "2 photos added." in page.text and "bad.jpg is not" in page.text
    assert page.text.count("<img") == 2
    assert "From the counter" not in page.text
    for said in (job.customer.name, job.device.serial, str(job.device.model)):
        assert said not in page.text
    photos = job.photos.filter(link__isnull=False)
    assert {(photo.caption, photo.by) for photo in photos} == {("Burnt", me)}
    assert f"{link}{photos[0].pk}.jpg" in page.text
    picture = phone.get(f"{link}{photos[0].pk}.jpg")
    assert len(picture.content) == photos[0].thumbnail_size
    assert picture["Cache-Control"] == "no-store, private"
    assert picture["Referrer-Policy"] == "no-referrer"
    entry = TrailEntry.objects.get(kind="repairs.photo", record=photos[0].pk)
    assert entry.source == "photo link"
    # Nothing was taken: what was typed stays.
    page = phone.post(link, {"caption": "Typed"})
    assert "Take or select at least one photo." in page.text and "Typed" in page.text


def test_it_opens_nothing_else(job, link, phone):
    other, foreign = make.job(), {}
    theirs, token = actions.create_link(other, stamp=make.stamp())
    foreign["other link"] = add(other, "navy", link=theirs)[0]
    foreign["counter"] = add(job, "maroon")[0]
    for photo in foreign.values():
        assert phone.get(f"{link}{photo.pk}.jpg").status_code == 404
        assert phone.get(photo.get_absolute_url()).status_code == 302
    theirs = foreign["other link"]
    assert phone.get(f"/photos/q/{token}/{theirs.pk}.jpg").status_code == 200
    assert phone.get(job.get_absolute_url()).status_code == 302


def test_unknown_expired_and_revoked_links_are_answered_alike(desk, job, link, phone):
    made = PhotoLink.objects.get()
    pages = [phone.get("/photos/q/" + "z" * 43 + "/")]
    later = timezone.now() + timedelta(minutes=actions.LINK_MINUTES, seconds=1)
    with time_machine.travel(later, tick=False):
        pages += [phone.get(link), phone.post(link, {"photos": [sent()]})]
    _, token = actions.create_link(job, stamp=make.stamp(by=made.made_by))
    second = PhotoLink.objects.latest("id")
    page = desk.get(reverse("photos:for_job", args=[job.pk])).text
    address = reverse("photos:revoke_link", args=[second.pk])
    assert address in page
    desk.post(address)
    RequestCount.objects.all().delete()
    pages += [phone.get(f"/photos/q/{token}/"), phone.get(f"/q/{token}/")]
    assert {page.status_code for page in pages} == {404}
    assert len({page.content for page in pages}) == 1
    assert not Photo.objects.exists()


def test_it_is_limited_masked_and_kept_as_a_hash(job, link, phone):
    for _ in range(60):
        assert phone.get(link).status_code == 200
    assert phone.get(link).status_code == 429
    token = link.split("/")[3]
    assert token not in masked(f"GET {link}1.jpg HTTP/1.1")
    stored = PhotoLink.objects.get()
    assert token not in str(vars(stored)) and len(stored.token_hash) == 64
    assert stored.works_until - stored.made_at == timedelta(minutes=30)


def test_htmx_gets_the_code_alone(desk, job):
    address = reverse("photos:create_link", args=[job.pk])
    page = desk.post(address, headers={"HX-Request": "true"})
    assert page.text.lstrip().startswith('<div class="stack" id="phone">')
    assert "<svg" in page.text and address_of(page)
