from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from billing.quotes.models import Quote
from repairs.jobs import states
from repairs.jobs.models import ReturnAssessment
from shopdesk.front.today import attention_reason, jobs_needing_attention
from tests import make

ON = date(2026, 3, 20)


@pytest.fixture
def desk(client, db):
    make.shop(country="GB")
    client.force_login(make.user("owner"))
    return client


def board(on=ON):
    return {
        job.pk: attention_reason(job, on=on) for job in jobs_needing_attention(on=on)
    }


@pytest.mark.django_db
def test_each_job_stands_once_where_it_needs_a_hand_most():
    late = ON - timedelta(days=1)
    calm = make.job(due_on=ON)
    expected = make.job(state=states.EXPECTED, due_on=late)
    overdue = make.job(due_on=late, waiting_for="parts")
    parts = make.job(waiting_for="parts")
    quoted = make.job(state=states.QUOTED)
    ready = make.job(state=states.READY, outcome=states.FIXED, due_on=late)
    gone = make.job(
        state=states.HANDED_OVER,
        outcome=states.FIXED,
        handed_over_on=make.DAY,
        due_on=late,
    )
    fault = make.fault()
    earlier = make.past_repair(fault, make.fix(fault), on=make.DAY)
    undecided = make.comeback(earlier, on=ON, assessment=states.UNDECIDED).job
    assert board() == {
        expected.pk: "expected",
        overdue.pk: "overdue",
        parts.pk: "parts",
        quoted.pk: "quoted",
        ready.pk: "ready",
        undecided.pk: "return",
    }
    assert calm.pk not in board() and gone.pk not in board()


@pytest.mark.django_db
def test_only_the_last_decision_about_a_return_counts():
    fault = make.fault()
    earlier = make.past_repair(fault, make.fix(fault), on=make.DAY)
    job = make.comeback(earlier, on=ON, assessment=states.UNDECIDED).job
    assert board() == {job.pk: "return"}
    ReturnAssessment.objects.create(
        job=job, earlier=earlier, assessment=states.NEW_FAULT, assessed_on=ON
    )
    assert board() == {}


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
    assert "4 jobs need attention." in page
    assert "3 days ago" in page and "not collected" in page
    assert "expired on" in page and "Record arrival" in page


def test_an_empty_day_says_so(desk):
    assert "Nothing needs attention." in desk.get(reverse("today")).text


def test_the_bench_is_not_sent_where_it_may_not_go(client, db):
    make.job(state=states.READY, outcome=states.FIXED)
    client.force_login(make.user("bench"))
    page = client.get(reverse("today")).text
    assert "Ready to hand over" in page and ">Hand over<" not in page


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
