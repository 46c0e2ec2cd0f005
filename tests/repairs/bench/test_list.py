from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.jobs import states
from tests import make

pytestmark = pytest.mark.django_db
URL = reverse("bench:list")


def numbers(answer):
    return {row.record.number for row in answer.context["table"].rows}


def test_the_list_shows_what_is_at_the_bench_and_what_else_is_asked_for(bench):
    here, quoted = make.job(), make.job(state=states.QUOTED)
    make.job(state=states.HANDED_OVER, outcome="fixed", handed_over_on=make.DAY)
    assert numbers(bench.get(URL)) == {here.number}
    assert numbers(bench.get(URL, {"where": "quoted"})) == {quoted.number}
    both = {here.number, quoted.number}
    assert numbers(bench.get(URL, {"where": "open"})) == both


def test_my_jobs_are_those_i_worked_on(bench, me):
    booked, stepped, _ = make.job(), make.job(), make.job()
    booked.labour.create(by=me, minutes=5)
    stepped.transitions.create(
        from_state="", to_state="booked_in", by=me, made_at=timezone.now()
    )
    assert numbers(bench.get(URL, {"mine": "on"})) == {booked.number, stepped.number}


def test_a_row_says_who_works_on_it_what_it_waits_for_and_that_it_is_late(bench, me):
    yesterday = timezone.localdate() - timedelta(days=1)
    job = make.job(complaint="Hums loudly", waiting_for="parts", due_on=yesterday)
    job.labour.create(by=me, started_at=timezone.now())
    make.comeback(
        make.past_repair(make.fault(), make.fix(), on=make.DAY, of=job.device),
        on=make.DAY,
    )
    page = bench.get(URL).content.decode()
    for told in ("Hums loudly", "parts", "Kim Okafor", "return"):
        assert told in page
    row = page.split(f">{job.number}<")[0].rpartition("<tr")[2]
    assert "hot" in row


@pytest.mark.parametrize(
    "asked",
    ["where=nowhere", "waiting_for=x", "page=0", "page=-9", "sort=none", "mine=9"],
)
def test_an_address_that_makes_no_sense_is_no_error(bench, asked):
    make.job()
    assert bench.get(f"{URL}?{asked}").status_code == 200


@pytest.mark.parametrize("n", [1, 30])
def test_the_list_asks_as_often_for_thirty_jobs(
    bench, me, n, django_assert_num_queries
):
    for _ in range(n):
        make.job().labour.create(by=me, minutes=1)
    bench.get(URL)
    with django_assert_num_queries(6):  # session, person, count, keys, rows, shop
        bench.get(URL)
