from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from billing.quotes.models import Quote
from repairs.bench import queue
from repairs.jobs import states
from repairs.jobs.models import Job, ReturnAssessment
from shopdesk.front.today import OF_ROLE, TYPES, queue_of
from shopdesk.staff.permissions import can_open
from tests import make

ON = date(2026, 3, 20)


@pytest.fixture
def desk(client, db):
    make.shop(country="GB")
    client.force_login(make.user("owner"))
    return client


def board(on=ON):
    """The group of each open job."""
    return {job.pk: queue.group_of(job, on=on) for job in queue.queued_jobs()}


@pytest.mark.django_db
def test_each_job_stands_once_by_what_is_to_be_done_next():
    late = ON - timedelta(days=1)
    fault = make.fault()
    fix = make.fix(fault)
    jobs = {
        "expected": make.job(state=states.EXPECTED, due_on=late),
        "overdue": make.job(due_on=late, waiting_for="parts"),
        "waiting": make.job(waiting_for="parts"),
        "ready": make.job(state=states.READY, outcome=states.FIXED, due_on=late),
        "start": make.job(due_on=ON),
        "quote": make.job(state=states.DIAGNOSED),
        "test": make.job(state=states.REPAIRED),
        "close": make.job(state=states.TESTED),
    }
    approved = make.job(state=states.APPROVED)
    quoted = make.job(state=states.QUOTED)
    gone = make.job(
        state=states.HANDED_OVER, outcome=states.FIXED, handed_over_on=make.DAY
    )
    earlier = make.past_repair(fault, fix, on=make.DAY)
    undecided = make.comeback(earlier, on=ON, assessment=states.UNDECIDED).job
    shown = board()
    assert {job.pk: group for group, job in jobs.items()}.items() <= shown.items()
    assert (shown[approved.pk], shown[quoted.pk]) == ("start", "waiting")
    assert gone.pk not in shown
    # A return is verified first, then assessed.
    assert shown[undecided.pk] == "start"
    Job.objects.filter(pk=undecided.pk).update(verified_failures=1, verified_tries=2)
    assert board()[undecided.pk] == "assess"
    # Only the last assessment counts.
    ReturnAssessment.objects.create(
        job=undecided,
        earlier=earlier,
        assessment=states.NEW_FAULT,
        assessed_on=ON,
    )
    assert board()[undecided.pk] == "start"


@pytest.mark.django_db
def test_each_role_has_its_own_today_with_its_own_jobs_first():
    bench, counter = make.user("bench"), make.user("counter")
    make.job()
    mine = make.job(assigned_to=bench, place="B3")
    make.job(state=states.READY, outcome=states.FIXED)
    make.job(waiting_for="parts", waiting_note="JCK-5521", waiting_since=ON)
    names = {
        user: [g.type.name for g in queue_of(user, on=ON)] for user in (bench, counter)
    }
    assert names == {
        bench: ["Start now", "Waiting"],
        counter: ["Ready to hand over", "Waiting"],
    }
    first = queue_of(bench, on=ON)[0].jobs[0]
    assert (first, first.step, first.technician) == (
        mine,
        "Verify the complaint",
        str(bench),
    )


def test_today_says_why_each_job_needs_attention(desk):
    today = timezone.localdate()
    make.job(due_on=today - timedelta(days=3), complaint="x")
    make.job(state=states.READY, outcome=states.FIXED, uncollected_since=make.DAY)
    make.job(state=states.EXPECTED)
    quoted = make.job(state=states.QUOTED)
    Quote.objects.create(
        job=quoted,
        version=1,
        state="sent",
        currency="EUR",
        sent_at=timezone.now(),
        valid_until=today - timedelta(days=1),
        pdf_sha256="x",
    )
    page = desk.get(reverse("today")).text
    assert "4 jobs, by what is to be done next." in page
    assert "3 days ago" in page and "not collected" in page
    assert "expired on" in page and "Record arrival" in page


def test_an_empty_day_says_so(desk):
    assert "Nothing to do." in desk.get(reverse("today")).text


@pytest.mark.django_db
def test_each_role_may_open_the_pages_of_its_groups():
    closed = [
        (role, name)
        for role, groups in OF_ROLE.items()
        for name in groups
        if TYPES[name].url_name and not can_open(make.user(role), TYPES[name].url_name)
    ]
    assert closed == []


def test_the_queue_says_for_which_part_and_since_when_it_waits(desk):
    make.job(waiting_for="parts", waiting_note="JCK-5521", waiting_since=ON, place="B3")
    for url in (reverse("today"), reverse("bench:list")):
        page = desk.get(url).text
        assert "JCK-5521, since 20 Mar 2026" in page and "B3" in page


def test_finished_jobs_are_listed_by_day(desk):
    me = make.user("bench", name="Kim Okafor")
    job = make.job(state=states.READY, outcome=states.FIXED)
    job.transitions.create(to_state=states.READY, by=me, made_at=timezone.now())
    today = timezone.localdate()
    page = desk.get(reverse("bench:finished")).text
    assert job.number in page and "Kim Okafor" in page
    before = today - timedelta(days=1)
    assert job.number not in desk.get(reverse("bench:finished"), {"day": before}).text
    assert job.number in desk.get(reverse("bench:finished"), {"day": "x"}).text


def test_today_asks_as_often_for_1_as_for_30(desk):
    def fill():
        make.job(due_on=make.DAY)
        make.job(waiting_for="parts")
        make.job(state=states.READY, outcome=states.FIXED)
        make.job(state=states.QUOTED)
        make.job(state=states.EXPECTED)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            desk.get(reverse("today"))
        return len(queries)

    fill()
    asked()
    before = asked()
    for _ in range(6):
        fill()
    assert asked() == before
