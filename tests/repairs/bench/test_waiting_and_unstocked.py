"""Which jobs wait for parts, and parts that were never in stock."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from repairs.jobs import states, workflow
from repairs.jobs.models import Job, PartUsed, UnstockedPart
from repairs.jobs.reserving import reserve_part
from repairs.stock import actions, ordering
from repairs.stock.models import StockMovement
from shopdesk.recording.models import TrailEntry
from tests import make
from tests.sent_forms import typed_in

pytestmark = pytest.mark.django_db

WAITING = "/bench/waiting-for-parts/"


@pytest.fixture
def bench(client):
    client.force_login(make.user(role="bench"))
    return client


def in_work(**facts):
    return make.repair(make.job(state=states.APPROVED, **facts)).job


def test_stock_and_orders_go_to_the_jobs_that_reserved_first(bench):
    part, today = make.part("SCR-7", on_hand=2), timezone.localdate()
    jobs = [in_work() for _ in range(3)]
    for days, job in zip((9, 5, 2), jobs, strict=True):
        stamp = make.stamp(on=today - timedelta(days=days))
        reserve_part(job, part=part, quantity=2, stamp=stamp)
    soon = today + timedelta(days=4)
    ordering.order(
        {part: 2},
        seen={part: 0},
        supplier="",
        expected_on=soon,
        stamp=make.stamp(on=today),
    )
    noted = in_work(waiting_for="parts", waiting_note="hinge, left", due_on=today)
    Job.objects.filter(pk=noted.pk).update(waiting_since=today - timedelta(days=30))
    in_work(waiting_for="customer")
    page = bench.get(WAITING)
    found = [
        (one.job.pk, one.missing, one.note, one.order and one.order.expected_on)
        for one in page.context["waiting"]
    ]
    assert found == [
        (noted.pk, 0, "hinge, left", None),
        (jobs[1].pk, 2, "", soon),
        (jobs[2].pk, 2, "", None),
    ]
    assert "not ordered" in page.content.decode()
    assert WAITING in bench.get("/").content.decode()
    actions.receive(part, quantity=4, on=today, stamp=make.stamp())
    assert [one.job.pk for one in bench.get(WAITING).context["waiting"]] == [noted.pk]


def test_the_list_asks_no_more_for_more_jobs(bench, django_assert_max_num_queries):
    part = make.part()
    for _ in range(20):
        reserve_part(in_work(), part=part, quantity=1, stamp=make.stamp())
    with django_assert_max_num_queries(8):
        assert len(bench.get(WAITING).context["waiting"]) == 20


def test_a_part_that_was_never_in_stock_is_recorded_without_stock_or_cost(bench):
    part = make.part("PANEL-9", on_hand=3)
    job = in_work()
    add = reverse("bench:add_unstocked_part", args=[job.pk])
    page = bench.post(add, {"unstocked-name": "", "unstocked-source": "customer"})
    assert "This field is required" in page.content.decode()
    assert not UnstockedPart.objects.exists()
    sent = {
        "unstocked-name": "panel-9",
        "unstocked-source": "customer",
        "unstocked-quantity": "1",
        "unstocked-note": "scratched already",
    }
    bench.post(add, sent)
    bench.post(
        add,
        sent | {"unstocked-name": "left hinge", "unstocked-source": "salvaged"},
    )
    ours, other = UnstockedPart.objects.order_by("id")
    assert (ours.part, ours.name) == (part, "PANEL-9 socket, 5 pin")
    assert (other.part, other.name) == (None, "left hinge")
    page = bench.get(job.get_absolute_url()).content.decode()
    assert "supplied by the customer" in page and "scratched already" in page
    assert "left hinge" in page and "salvaged from another device" in page
    part.refresh_from_db()
    assert part.on_hand == 3 and not PartUsed.objects.exists()
    assert not StockMovement.objects.filter(kind="used").exists()
    # It is a part all the same: closing does not ask for one.
    repair = job.repairs.get()
    repair.fix = make.fix(repair.fault)
    repair.fix.usual_parts.create(part=part)
    repair.save()
    assert job.repairs.with_parts().get().has_parts and repair.has_parts
    assert TrailEntry.objects.filter(kind="repairs.unstockedpart").count() == 2

    remove = reverse("bench:remove_unstocked_part", args=[other.pk])
    bench.post(remove)
    assert UnstockedPart.objects.count() == 1
    Job.objects.filter(pk=job.pk).update(state=states.READY, outcome=states.FIXED)
    refused = bench.post(reverse("bench:remove_unstocked_part", args=[ours.pk]))
    assert refused.status_code in (200, 302) and UnstockedPart.objects.count() == 1


@pytest.mark.parametrize("wrong", [{"quantity": 0}, {"name": ""}, {"source": "stock"}])
def test_the_database_refuses_one_that_makes_no_sense(wrong):
    facts = {"name": "hinge", "source": "customer", "added_at": timezone.now()} | wrong
    with pytest.raises(IntegrityError), transaction.atomic():
        UnstockedPart.objects.create(repair=make.repair(), **facts)


def test_whether_old_parts_are_returned_is_recorded_when_the_job_is_closed(bench):
    job = make.job(state=states.TESTED)
    repair = make.repair(job, fix=make.fix(), no_part_needed=True)
    repair.final_tests.create(tries=9, needed=1, run_at=timezone.now())
    sent = typed_in(bench.get(job.get_absolute_url()))
    assert sent["whole-old_parts"] == ""
    bench.post(
        reverse("bench:close", args=[job.pk]), sent | {"whole-old_parts": "returned"}
    )
    job.refresh_from_db()
    assert (job.state, job.old_parts) == (states.READY, "returned")
    page = bench.get(job.get_absolute_url()).content.decode()
    assert "returned to the customer" in page
    workflow.reopen(job, stamp=make.stamp(), why="again")
    assert job.old_parts == "returned"
