"""A return: what it is, whom it is held against, and who bears the cost."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.bench import queue
from repairs.jobs import states, workflow
from repairs.jobs.models import Job
from repairs.returns.actions import assess_return
from shopdesk.errors import RefusedError
from tests import make

pytestmark = pytest.mark.django_db
DAY = make.DAY


@pytest.fixture
def earlier():
    fault = make.fault(code="PWR-JACK")
    fix = make.fix(fault, code="JACK-NEW")
    return make.past_repair(
        fault, fix, on=DAY, warranty_until=DAY + timedelta(days=30), fix_type="lasting"
    )


VERIFIED = {"verified_failures": 1, "verified_tries": 2}


def back(earlier, days=9, **facts):
    facts = VERIFIED | facts
    return make.job(earlier.job.device, on=DAY + timedelta(days=days), **facts)


def send(client, job, earlier, **said):
    said = {"assessment": "same_fault", "in_warranty": "yes", "why": "", **said}
    said = {"earlier": earlier.pk, "version": job.version, **said}
    return client.post(reverse("returns:assess", args=[job.pk]), said)


def test_the_page_shows_what_was_done_and_whether_cover_reached_this_visit(
    bench, earlier
):
    page = bench.get(reverse("returns:assess", args=[back(earlier).pk]))
    text = page.content.decode()
    for told in ("PWR-JACK", "JACK-NEW", "lasting", "2 Mar 2026", "1 Apr 2026"):
        assert told in text
    assert '<td class="num" data-label="Days since">9</td>' in text
    assert "in warranty" in text
    late = bench.get(reverse("returns:assess", args=[back(earlier, days=31).pk]))
    assert "not in warranty" in late.content.decode()


@pytest.mark.parametrize("assessment", states.RETURN_ASSESSMENTS)
def test_the_bench_decides_what_it_is_and_a_row_is_kept(bench, me, earlier, assessment):
    job = back(earlier)
    covered = "yes" if assessment == "same_fault" else "no"
    answer = send(bench, job, earlier, assessment=assessment, in_warranty=covered)
    assert answer.url == job.get_absolute_url()
    row = job.decisions.get()
    assert (row.earlier, row.assessment, row.by) == (earlier, assessment, me)
    assert row.is_in_warranty == (assessment == "same_fault")
    assert row.assessed_on == timezone.localdate()


@pytest.mark.parametrize("role", ["bench", "counter"])
def test_nobody_decides_before_the_bench_has_verified_and_the_counter_never(
    client, earlier, role
):
    client.force_login(make.user(role))
    job = back(earlier, verified_failures=None, verified_tries=None)
    url = reverse("returns:assess", args=[job.pk])
    assert 'value="same_fault"' not in client.get(url).text
    send(client, job, earlier)
    assert not job.decisions.exists()
    assert send(client, job, earlier, assessment="undecided").status_code == 302
    with pytest.raises(RefusedError, match="Verify the complaint at the bench first"):
        assess(job, earlier)
    Job.objects.filter(pk=job.pk).update(bench_notes="Hot after a minute", version=9)
    job.refresh_from_db()
    send(client, job, earlier)
    assert job.decision.assessment == ("same_fault" if role == "bench" else "undecided")


def test_the_same_fault_brings_notes_and_readings_with_it(bench, earlier):
    done = earlier.job
    Job.objects.filter(pk=done.pk).update(complaint="Dead since Monday")
    earlier.note = "Pad nearly gone"
    earlier.cause = "Pulled cable"
    earlier.save()
    for stage, value, low in (("after", 5, 4), ("before", 1, 0)):
        limits = {"value": value, "unit": "V", "low": low, "high": 6}
        done.readings.create(
            test_point="5 V rail", stage=stage, read_at=timezone.now(), **limits
        )
    part = make.part("SOC-1", on_hand=2)
    lot = part.deliveries.get()
    earlier.parts_used.create(part=part, delivery=lot)
    job = back(earlier)
    send(bench, job, earlier)
    again = job.repairs.get()
    assert (again.fault, again.fix) == (earlier.fault, None)
    assert again.note == f"Job {done.number}: Pad nearly gone"
    assert 'earlier job: <span class="code">5 V' in bench.get(f"/bench/{job.pk}/").text
    said = {"test_point": "5 v RAIL", "value": "3.9 V", "stage": "before"}
    said = {f"reading-{name}": value for name, value in said.items()}
    bench.post(reverse("bench:add_reading", args=[job.pk]), said)
    assert job.readings.get().passes is False
    page = bench.get(reverse("returns:earlier", args=[job.pk])).text
    for word in ("Dead since Monday", "9 days before this visit", "SOC-1", str(lot)):
        assert word in page
    for word in ("Pulled cable", "Pad nearly gone", "1 Apr 2026", "lasting"):
        assert word in page


def test_the_covered_repair_begins_while_the_customer_decides_about_the_rest(
    bench, earlier
):
    job = back(earlier, state=states.DIAGNOSED)
    send(bench, job, earlier)
    again, new = job.repairs.get(), make.repair(job, make.fault())
    Job.objects.filter(pk=job.pk).update(state=states.QUOTED)
    job.refresh_from_db()
    make.part("P-1", on_hand=5)
    url = reverse("bench:use_part", args=[job.pk])
    said = {"part-part": "P-1", "part-quantity": 1, "part-repair": new.pk}
    assert "The job is quoted" in bench.post(url, said, follow=True).text
    bench.post(url, said | {"part-repair": again.pk})
    assert again.parts_used.count() == 1 and not new.parts_used.exists()
    fix = {f"fix-{again.pk}-chosen": earlier.fix.pk, "version": job.version}
    bench.post(reverse("bench:select_fix", args=[again.pk]), fix)
    again.refresh_from_db()
    assert again.fix == earlier.fix
    assert "The warranty repair may begin" in bench.get(job.get_absolute_url()).text
    row = queue.queued_jobs().get(pk=job.pk)
    assert queue.group_of(row, on=DAY) == queue.START


@pytest.mark.parametrize("assessment", ["same_fault", "new_fault"])
@pytest.mark.parametrize("is_in_warranty", [True, False])
@pytest.mark.parametrize("faults", [(), ("old",), ("new",), ("old", "new")])
def test_the_queue_judges_the_warranty_as_the_job_does(
    earlier, assessment, is_in_warranty, faults
):
    """The queue asks SQL, the job Python: each kind of return there is."""
    is_in_warranty &= assessment == states.SAME_FAULT
    for outcome in ("", states.NOT_FIXED):
        for state in (states.DIAGNOSED, states.QUOTED):
            job = back(earlier, state=state)
            make.decision(
                job, earlier, assessment=assessment, is_in_warranty=is_in_warranty
            )
            for name in faults:
                fault = earlier.fault if name == "old" else make.fault()
                make.repair(job, fault, outcome=outcome if name == "new" else "")
            row = queue.queued_jobs().get(pk=job.pk)
            assert queue.needs_no_quote(row) == job.needs_no_quote
            may = state == states.QUOTED and job.may_work_on()
            assert queue.covered_may_begin(row) == may


def test_a_later_decision_holds_and_the_earlier_one_stays(bench, earlier):
    job = back(earlier)
    send(bench, job, earlier, assessment="undecided", in_warranty="no")
    job.refresh_from_db()
    send(bench, job, earlier, assessment="handling_damage", in_warranty="no")
    assert job.decisions.count() == 2
    assert job.decision.assessment == "handling_damage"


@pytest.mark.parametrize(
    "assessment", ["new_fault", "handling_damage", "no_fault_found"]
)
def test_only_the_same_fault_can_be_under_cover(bench, earlier, assessment):
    job = back(earlier)
    page = send(
        bench, job, earlier, assessment=assessment, in_warranty="yes"
    ).content.decode()
    assert "Only the same fault can be in warranty." in page
    assert not job.decisions.exists()


@pytest.mark.parametrize(("days", "covered"), [(9, "no"), (31, "yes")])
def test_to_decide_otherwise_than_the_dates_say_takes_a_reason(
    bench, earlier, days, covered
):
    job = back(earlier, days=days)
    page = send(bench, job, earlier, in_warranty=covered).content.decode()
    assert "Enter a reason for the exception" in page
    assert not job.decisions.exists()
    send(bench, job, earlier, in_warranty=covered, why="They have waited long")
    assert job.decision.is_in_warranty == (covered == "yes")


def test_a_repair_of_another_device_is_not_offered(bench, earlier):
    other = make.past_repair(earlier.fault, earlier.fix, on=DAY)
    job = back(earlier)
    page = send(bench, job, other).content.decode()
    assert 'id="problems"' in page
    assert not job.decisions.exists()


@pytest.mark.parametrize("length", [1, 2, 5])
def test_a_return_never_runs_in_a_circle(earlier, length):
    """All on one day, so that no other rule refuses it."""
    done = earlier
    for _ in range(length):
        job = make.job(done.job.device, on=DAY, **VERIFIED)
        assess(job, done)
        done = job.repairs.get()
        make.hand_over(job, on=DAY)
    with pytest.raises(RefusedError, match="is itself a return of this one"):
        assess(earlier.job, done)
    assert not earlier.job.decisions.exists()


def assess(job, earlier):
    facts = {
        "assessment": "same_fault",
        "is_in_warranty": False,
        "stamp": make.stamp(on=DAY),
    }
    return assess_return(job, earlier=earlier, **facts)


def test_a_job_is_not_its_own_return(earlier):
    with pytest.raises(RefusedError, match="its own return"):
        assess(earlier.job, earlier)


def test_a_repair_is_no_earlier_one_before_it_is_handed_back():
    done = make.repair()
    job = make.job(done.job.device, on=DAY)
    with pytest.raises(RefusedError, match="was not handed over yet"):
        assess(job, done)


def test_a_repair_handed_back_after_the_visit_began_is_no_earlier_one(earlier):
    job = make.job(earlier.job.device, on=DAY - timedelta(days=1))
    with pytest.raises(RefusedError, match="handed over after this one was booked in"):
        assess(job, earlier)


def test_whoever_is_later_is_told_and_keeps_what_was_typed(bench, earlier):
    job = back(earlier)
    with workflow.locked_for_change(
        job, version=job.version, stamp=make.stamp(by=make.user(name="Bo"))
    ):
        pass
    page = send(bench, job, earlier, version=1, why="My reason").content.decode()
    assert "Bo changed this job" in page and "My reason" in page
    assert 'value="2"' in page and not job.decisions.exists()


def test_a_first_visit_has_nothing_to_be_held_against(bench):
    page = bench.get(reverse("returns:assess", args=[make.job().pk])).content.decode()
    assert "has no earlier repair before" in page


def test_a_covered_comeback_needs_no_quote_and_costs_only_the_shop(bench, me, earlier):
    make.shop(hourly_cost=Decimal(36), warranty_days_minimum=30)
    job = back(earlier)
    send(bench, job, earlier)
    again = job.repairs.get()  # the fault that is back
    again.fix = earlier.fix
    again.save()
    lost = make.repair(job, make.fault())
    url = reverse("bench:diagnose", args=[job.pk])
    bench.post(url)
    start = reverse("bench:start_warranty_repair", args=[job.pk])
    answer = bench.post(start)
    told = f"The warranty does not cover {lost.fault.code}"
    assert told in bench.get(answer.url).content.decode()
    lost.outcome = states.NOT_FIXED
    lost.save()
    bench.post(start)
    job.refresh_from_db()
    assert job.state == states.APPROVED and job.approved_warranty_repair
    job.labour.create(repair=again, minutes=30, by=me)
    job.labour.create(repair=lost, minutes=10, by=me)
    job.labour.create(minutes=20, by=me)  # finding: shared by both
    again.parts_used.create(part=make.part(), quantity=2, cost=Decimal("1.25"))
    workflow.mark_repaired(job, stamp=make.stamp(by=me))
    again.final_tests.create(tries=5, needed=5, run_at=timezone.now())
    workflow.complete_final_test(job, stamp=make.stamp(by=me))
    again.outcome, again.fix_type = states.FIXED, "lasting"
    again.save()
    workflow.close(job, outcome=states.FIXED, stamp=make.stamp(by=me))
    workflow.hand_over(
        job, stamp=make.stamp(on=DAY + timedelta(days=12), by=me), shop=make.shop()
    )
    again.refresh_from_db()
    lost.refresh_from_db()
    assert again.cost == Decimal("26.5")  # 40 minutes at 36 an hour, and 2.50 of parts
    assert lost.cost == Decimal(12)  # not fixed, but it was 20 minutes of work
    assert again.warranty_until == DAY + timedelta(days=42)  # at least 30 more days
    assert lost.warranty_until is None


def test_without_cover_the_work_is_not_started(bench, earlier):
    job = back(earlier, state=states.DIAGNOSED)
    make.repair(job, earlier.fault)
    send(bench, job, earlier, assessment="new_fault", in_warranty="no")
    answer = bench.post(reverse("bench:start_warranty_repair", args=[job.pk]))
    assert "must accept a quote" in bench.get(answer.url).content.decode()
    job.refresh_from_db()
    assert job.state == states.DIAGNOSED


def undecided(earlier, state, **facts):
    job = back(earlier, state=state, **facts)
    job.decisions.create(
        earlier=earlier, assessment="undecided", is_in_warranty=True, assessed_on=DAY
    )
    return job


def test_what_is_undecided_is_not_started_under_cover(bench, earlier):
    job = undecided(earlier, states.DIAGNOSED)
    make.repair(job, earlier.fault)
    answer = bench.post(reverse("bench:start_warranty_repair", args=[job.pk]))
    assert "Assess the return first" in bench.get(answer.url).content.decode()
    job.refresh_from_db()
    assert job.state == states.DIAGNOSED and not job.is_warranty_repair


@pytest.mark.parametrize(
    ("state", "outcome"),
    [
        (states.TESTED, states.FIXED),
        (states.BOOKED_IN, states.NO_FAULT_FOUND),
        (states.APPROVED, states.NOT_REPAIRABLE),
        (states.DECLINED, states.DECLINED_BY_CUSTOMER),
    ],
)
def test_a_job_is_not_closed_while_nobody_decided_about_the_return(
    earlier, state, outcome
):
    job = undecided(earlier, state)
    with pytest.raises(RefusedError, match="Assess the return first"):
        workflow.close(job, outcome=outcome, why="because", stamp=make.stamp())
    job.refresh_from_db()
    assert job.state == state and job.outcome == ""


def covered_and_approved(earlier):
    job = back(earlier)
    job.decisions.create(
        earlier=earlier, assessment="same_fault", is_in_warranty=True, assessed_on=DAY
    )
    make.repair(job, earlier.fault, fix=earlier.fix)
    workflow.diagnose(job, stamp=make.stamp())
    workflow.approve_warranty_repair(job, stamp=make.stamp())
    return job


def test_when_it_is_not_covered_after_all_the_customer_is_asked(bench, earlier):
    job = covered_and_approved(earlier)
    send(bench, job, earlier, assessment="handling_damage", in_warranty="no")
    job.refresh_from_db()
    assert job.state == states.DIAGNOSED
    assert job.transitions.last().why == "not a warranty repair"


def test_work_done_under_cover_is_not_charged_behind_the_customer_s_back(
    bench, earlier
):
    job = covered_and_approved(earlier)
    workflow.mark_repaired(job, stamp=make.stamp())
    said = {"assessment": "new_fault", "in_warranty": "no"}
    page = send(bench, job, earlier, **said).content.decode()
    assert "Send it back to repair first" in page
    job.refresh_from_db()
    assert job.state == states.REPAIRED and job.decisions.count() == 1


@pytest.mark.parametrize("n", [1, 30])
def test_the_page_asks_as_often_for_thirty_earlier_repairs(
    bench, earlier, n, django_assert_num_queries
):
    for _ in range(n):
        make.past_repair(earlier.fault, earlier.fix, on=DAY, of=earlier.job.device)
    url = reverse("returns:assess", args=[back(earlier).pk])
    bench.get(url)
    with django_assert_num_queries(7):
        bench.get(url)
