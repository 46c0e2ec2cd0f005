"""What the bench knows of a fault: notes by board, and what is usually measured."""

from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from repairs.jobs import states
from repairs.jobs.models import Reading, Repair
from repairs.knowledge.fault_readings import fault_points
from repairs.knowledge.models import BoardNote
from tests import make

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def read(job, value, stage, *, point="main rail", **facts):
    facts = {"low": Decimal("4.5"), "high": Decimal("5.5"), "unit": "V"} | facts
    at = timezone.now()
    Reading.objects.create(
        job=job,
        test_point=point,
        value=Decimal(value),
        stage=stage,
        read_at=at,
        **facts,
    )


def text_of(client, name, *args, **query):
    page = client.get(reverse(name, args=args), query, headers=HTMX)
    assert page.status_code == 200
    return " ".join(strip_tags(page.content.decode()).split())


@pytest.fixture
def fault():
    """Five jobs with the fault, before and after; one had another fault as well."""
    make.shop()
    fault = make.fault("PWR-A", name="Rail low")
    fix = make.fix(fault)
    for value in ("4.0", "4.1", "4.2", "4.1"):
        done = make.past_repair(fault, fix, on=make.DAY)
        read(done.job, value, Reading.Stage.BEFORE)
        read(done.job, "5.0", Reading.Stage.AFTER)
    two = make.past_repair(fault, fix, on=make.DAY)
    Repair.objects.create(job=two.job, fault=make.fault(), handed_over_on=make.DAY)
    read(two.job, "0.1", Reading.Stage.BEFORE)
    return fault


def test_typical_readings_stand_beside_good_ones(fault, client):
    (point,) = fault_points(fault)
    assert (point.faulty.count, point.faulty.median) == (4, Decimal("4.1"))
    # Of 4.0, 4.1, 4.1, 4.2 the deviations are 0.1, 0, 0, 0.1: their median is 0.05.
    assert point.faulty.spread == Decimal("1.4826") * Decimal("0.05")
    assert (point.usual.count, point.usual.median) == (4, Decimal("5.0"))
    assert len(point.strip.here) == 4 and max(point.strip.here) < point.strip.low
    client.force_login(make.user("counter"))
    shown = text_of(client, "knowledge:readings", fault.pk)
    assert "main rail 4.1 V ± 74.13 mV 4 4.9 V to 5.1 V" in shown
    assert text_of(client, "knowledge:readings", make.fault().pk) == ""


def test_few_readings_are_not_called_typical(client):
    fault = make.fault()
    fix = make.fix(fault)
    for value in ("4.0", "4.1"):
        done = make.past_repair(fault, fix, on=make.DAY)
        read(done.job, value, Reading.Stage.BEFORE)
    assert fault_points(fault) == []


def test_a_note_is_read_on_the_job_that_it_fits(fault, client):
    client.force_login(make.user("bench"))
    slate, leaf = make.device_model(), make.device_model(model="Leaf 10")
    add = reverse("knowledge:add_note", args=[fault.pk])
    refused = client.post(add, {"model": slate.pk, "board_revision": "r2"})
    assert "This field is required" in refused.text and 'value="r2"' in refused.text
    sent = {"model": slate.pk, "board_revision": "r2", "text": "Lift the shield."}
    assert client.post(add, sent).status_code == 302
    note = BoardNote.objects.get()

    def on(model, board, *faults):
        device = make.device(model=model, board_revision=board)
        job = make.job(device, state=states.DIAGNOSED)
        for one in faults:
            make.repair(job, one)
        page = client.get(job.get_absolute_url()).text
        assert f"{reverse('knowledge:notes')}?job={job.pk}" in page
        return text_of(client, "knowledge:notes", job=job.pk)

    here = "On this board: Lift the shield. Rail low"
    assert here in on(slate, "r2") and here in on(slate, "r2", fault)
    assert on(slate, "r1") == on(leaf, "r2") == ""
    elsewhere = on(leaf, "", fault)
    assert "Norwind Slate 14, board r2: Lift the shield." in elsewhere
    assert "On this" not in elsewhere
    assert "Lift the shield." in text_of(client, "knowledge:notes", fault=fault.pk)
    client.post(reverse("knowledge:remove_note", args=[note.pk]))
    assert not BoardNote.objects.exists()
