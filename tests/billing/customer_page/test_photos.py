"""The customer sees the photos that staff ticked for them, and no others."""

import pytest
from django.test import Client
from django.urls import reverse

from repairs.photos import actions
from tests import make
from tests.billing.customer_page.conftest import customer_of
from tests.repairs.photos.files import add

pytestmark = pytest.mark.django_db


def test_only_ticked_photos_of_the_own_job_are_shown(client):
    job, other = make.job(), make.job()
    hidden, shown = add(job, "navy", "olive", caption="Cracked <corner>")
    theirs = add(other, "teal")[0]
    client.force_login(make.user())
    for photo in (shown, theirs):
        data = {"caption": photo.caption, "stage": "work", "for_customer": "on"}
        client.post(reverse("photos:photo", args=[photo.pk]), data)
    address = f"/q/{customer_of(job).token}/"
    visitor = Client()
    page = visitor.get(address).text
    assert page.count("<img") == 1 and "Cracked &lt;corner&gt;" in page
    for name, size in (("photo", shown.size), ("thumbnail", shown.thumbnail_size)):
        answer = visitor.get(f"{address}{name}-{shown.pk}.jpg")
        assert len(answer.content) == size
        assert answer["Cache-Control"] == "no-store, private"
        for photo in (hidden, theirs):
            assert visitor.get(f"{address}{name}-{photo.pk}.jpg").status_code == 404
    actions.remove_photo(shown, why="blurred", stamp=make.stamp())
    assert "<img" not in visitor.get(address).text
    assert visitor.get(f"{address}photo-{shown.pk}.jpg").status_code == 404
