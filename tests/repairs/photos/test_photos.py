"""Staff add photos to a job, describe and remove them; nobody else sees them."""

from hashlib import sha256

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from repairs.photos import actions
from repairs.photos.models import Photo, PhotoFile
from repairs.photos.queries import first_damaged
from shopdesk.errors import RefusedError
from shopdesk.keeping.nightly import problems
from tests import make
from tests.billing.personal_data.canaries import unguarded
from tests.repairs.photos.files import add, drawn, sent
from tests.shopdesk.trail.entries import entries_of


def page_of(job):
    return reverse("photos:for_job", args=[job.pk])


def file_of(photo, what="picture"):
    return reverse(f"photos:{what}", args=[photo.pk])


def test_photos_are_added_shown_described_and_removed(desk, job, me):
    files = [
        sent("front.jpg", color="navy"),
        sent("notes.txt", b"no picture"),
        sent("back.png", form="PNG", color="maroon"),
    ]
    data = {"photos": files, "stage": "arrival", "caption": "Corroded plug"}
    page = desk.post(page_of(job), data, follow=True).text
    assert "2 photos added." in page and "notes.txt is not a JPEG" in page
    first, second = job.photos.all()
    assert (first.by, first.caption, first.get_stage_display()) == (
        *(me, "Corroded plug", "on arrival"),
    )
    # On the job: one folded section, which is filled when it is opened.
    page = desk.get(job.get_absolute_url()).text
    assert "Photos (2)" in page and "<img" not in page
    page = desk.get(page_of(job), headers={"HX-Request": "true"}).text
    assert page.count('alt="Corroded plug"') == 2 and "<html" not in page
    assert file_of(first, "thumbnail") in page and file_of(first) not in page

    answer = desk.get(file_of(first))
    assert sha256(answer.content).hexdigest() == first.sha256
    assert len(answer.content) == first.size
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"] == "no-store, private"
    assert answer["Content-Security-Policy"].count("sandbox") == 1
    assert f'"job-{job.number}-photo-{first.pk}.jpg"' in answer["Content-Disposition"]
    assert len(desk.get(file_of(first, "thumbnail")).content) == first.thumbnail_size

    page = desk.get(first.get_absolute_url()).text
    assert "Photo 1 of 2" in page and second.get_absolute_url() in page
    data = {"caption": "Plug, left side", "stage": "work"}
    assert desk.post(first.get_absolute_url(), data).status_code == 302
    address = reverse("photos:remove", args=[first.pk])
    page = desk.post(address, {"remove-why": " "})
    assert page.status_code == 200 and PhotoFile.objects.count() == 2
    assert desk.post(address, {"remove-why": "shows a person"}).status_code == 302
    assert [file.photo for file in PhotoFile.objects.all()] == [second]
    for address in (first.get_absolute_url(), file_of(first)):
        assert desk.get(address).status_code == 404
    assert "Photos (1)" in desk.get(job.get_absolute_url()).text
    told = [values for _, values in entries_of(first)]
    assert told[0]["sha256"] == [None, first.sha256]
    assert told[1]["caption"] == ["Corroded plug", "Plug, left side"]
    assert told[2]["removed_why"][1] == "shows a person"


def test_a_form_without_a_good_file_keeps_what_was_typed(desk, job):
    data = {"stage": "work", "caption": "Burnt resistor"}
    for files, problem in (
        ([], "Select at least one photo."),
        ([sent("a.jpg", b"x")], "a.jpg is not a JPEG"),
        ([sent("b.heic", b"\0\0\0\x18ftypheic0000")], "b.heic is an HEIC picture"),
    ):
        page = desk.post(page_of(job), data | {"photos": files})
        assert problem in page.text and "Burnt resistor" in page.text
    assert not Photo.objects.exists()


def test_a_photo_sent_again_is_stored_once(desk, job):
    for text in ("1 photo added.", "1 photo was added before."):
        data = {"stage": "work", "photos": [sent()]}
        assert text in desk.post(page_of(job), data, follow=True).text
    assert job.photos.count() == 1


def test_a_job_has_room_for_so_many(job, monkeypatch):
    monkeypatch.setattr(actions, "MAX_PHOTOS", 2)
    first, _ = add(job, "navy", "maroon")
    with pytest.raises(RefusedError, match="at most 2 photos"):
        add(job, "olive")
    actions.remove_photo(first, why="blurred", stamp=make.stamp())
    add(job, "olive")
    monkeypatch.setattr(actions, "MAX_PHOTOS", 9)
    monkeypatch.setattr(actions, "MAX_BYTES_OF_JOB", 2 * first.size)
    with pytest.raises(RefusedError, match="this one has 2"):
        add(job, "teal")
    assert job.photos.shown().count() == 2


def test_a_form_that_is_too_large_is_not_even_stored(desk, job, monkeypatch):
    monkeypatch.setattr("shopdesk.serving.uploads.MAX_FORM", 5000)
    data = {"stage": "work", "photos": [sent("big.jpg", b"x" * 5000)]}
    answer = desk.post(page_of(job), data)
    assert answer.status_code == 413 and "The file is too large" in answer.text


def test_only_staff_see_photos(client, job):
    (photo,) = add(job, "navy")
    for address in (page_of(job), photo.get_absolute_url(), file_of(photo)):
        assert client.get(address).status_code == 302


def test_a_list_never_loads_the_files(desk, job, django_assert_num_queries):
    add(job, *(f"#{n:02x}80{n:02x}" for n in range(0, 240, 20)))
    desk.get(job.get_absolute_url())
    for address in (job.get_absolute_url(), page_of(job)):
        with django_assert_num_queries(20, exact=False) as asked:
            page = desk.get(address)
        assert "Photos (12)" in page.text
        assert not [q for q in asked if "photofile" in q["sql"]]


def test_a_picture_cannot_be_changed_and_damage_is_found(job):
    (photo,) = add(job, "navy")
    with pytest.raises(DatabaseError), transaction.atomic():
        PhotoFile.objects.update(picture=drawn(color="red"))
    with pytest.raises(DatabaseError), transaction.atomic():
        Photo.objects.update(sha256="0" * 64)
    assert first_damaged() == ""
    with unguarded():
        PhotoFile.objects.update(picture=drawn(color="red"))
    assert f"The file of {photo} is damaged." in [*problems()]
    PhotoFile.objects.all().delete()
    assert f"The file of {photo} is missing." in [*problems()]
