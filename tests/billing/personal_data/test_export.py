"""An export holds all that there is about one person, and nothing about another."""

import json
from io import BytesIO
from zipfile import ZipFile

import pytest
from django.apps import apps
from django.urls import reverse

from billing.personal_data.export import export_customer
from billing.personal_data.inventory import INVENTORY, NOT_PERSONAL
from shopdesk.recording.models import Action
from shopdesk.staff.models import Role
from tests import make
from tests.billing.personal_data.canaries import full_customers, plant
from tests.shopdesk.trail.entries import entries_of


def texts_of(file):
    with file, ZipFile(file) as archive:
        return {name: archive.read(name).decode() for name in archive.namelist()}


def test_each_model_is_exported_or_has_a_reason():
    models = {m._meta.label_lower for m in apps.get_models(include_auto_created=True)}
    held = {kind.model._meta.label_lower for kind in INVENTORY}
    assert not held & set(NOT_PERSONAL)
    assert models == held | set(NOT_PERSONAL)


@pytest.mark.django_db
def test_every_column_of_every_table_is_in_the_export_and_nobody_elses(full_shop):
    mine, other = full_customers()
    mine.name = "Kept in the trail only"
    mine.save()
    planted = plant(mine, letter="a")
    of_others = plant(other, letter="b")
    files = texts_of(export_customer(mine, stamp=make.stamp()))
    text = "\n".join(files.values())
    left_out = {
        (kind.model.__name__, name) for kind in INVENTORY for name in kind.not_exported
    }
    missing = {
        canary: (kind.model.__name__, name)
        for canary, (kind, name) in planted.items()
        if canary not in text
    }
    assert set(missing.values()) == left_out - {
        *(("Link", "token_hash"), ("PhotoLink", "token_hash")),
    }
    assert [(h.label, n) for c, (h, n) in of_others.items() if c in text] == []
    assert "Kept in the trail only" in files["data.json"]
    # Canaries of files are in files, and the index names each of them.
    data = json.loads(files["data.json"])
    assert data["customer"] == mine.pk
    named = {name for name in files if name.startswith(("documents/", "signatures/"))}
    assert len(named) > 20
    assert all(name in files["index.html"] for name in named)


@pytest.mark.django_db
def test_what_repairs_cost_the_shop_is_not_exported():
    job = make.job()
    make.repair(job, cost="77.7701")
    file = export_customer(job.customer, stamp=make.stamp())
    assert "77.7701" not in "".join(texts_of(file).values())


@pytest.mark.django_db
def test_the_owner_downloads_it_and_the_trail_says_so(client):
    customer = make.customer(email="ada@example.org")
    address = reverse("personal_data:zip", args=[customer.pk])
    client.force_login(make.user(Role.COUNTER))
    assert client.get(address).status_code == 403
    client.force_login(make.user())
    answer = client.get(address)
    assert answer["Content-Disposition"].endswith(f'"customer-{customer.pk}.zip"')
    assert "ada@example.org" in texts_of(BytesIO(answer.getvalue()))["data.json"]
    assert entries_of(customer)[-1][0] == Action.DOWNLOADED
