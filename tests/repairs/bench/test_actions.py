"""Every verb of the bench, fired by hand at jobs in every state."""

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.bench.urls import urlpatterns
from repairs.faults.models import Fault, Fix
from repairs.jobs import states, workflow
from repairs.jobs.models import (
    FinalTest,
    Job,
    Labour,
    PartReservation,
    PartUsed,
    Reading,
    Repair,
    UnstockedPart,
)
from repairs.stock.models import Part, StockMovement
from tests import make

pytestmark = pytest.mark.django_db

VERBS = {url.name: str(url.pattern) for url in urlpatterns}
OF_THE_OWNER = "set_tries_required"
OF_ONE = [
    name
    for name, path in VERBS.items()
    if path.startswith("of/") and name != OF_THE_OWNER
]
OTHERS = ("list", "finished", "waiting", "job", OF_THE_OWNER)
OF_A_JOB = [name for name in VERBS if name not in (*OTHERS, *OF_ONE)]

# The verb of each URL, and the only steps it may make.
STEPS = {
    "diagnose": {("booked_in", "diagnosed")},
    "start_warranty_repair": {("diagnosed", "approved")},
    "revise": {
        ("quoted", "diagnosed"),
        ("approved", "diagnosed"),
        ("declined", "diagnosed"),
    },
    "mark_repaired": {("approved", "repaired")},
    "complete_final_test": {("repaired", "tested")},
    "fail_final_test": {("repaired", "approved"), ("tested", "approved")},
    "close": {("tested", "ready")},
    "close_without_repair": {
        (state, "ready") for state in ("booked_in", "diagnosed", "approved", "tested")
    },
    "close_declined": {("declined", "ready")},
    "reopen": {("ready", "diagnosed"), ("ready", "approved")},
    # A clean run that is long enough proves the job by itself.
    "record_final_test": {("repaired", "tested")},
}


@pytest.fixture
def bench(client):
    client.force_login(make.user(role="bench"))
    return client


def job_in(state, **facts):
    """A job in `state` on which every verb finds all it asks for."""
    if state in (states.READY, states.HANDED_OVER):
        facts["outcome"] = states.FIXED
    if state == states.HANDED_OVER:
        facts["handed_over_on"] = make.DAY
    make.repair()  # so that a job and its repair never bear the same number by luck
    make.job()
    job = make.job(state=state, **facts)
    fault = make.fault()
    fix = make.fix(fault)
    repair = make.repair(job, fault, fix=fix)
    repair.final_tests.create(tries=50, needed=5, run_at=timezone.now())
    part = make.part(on_hand=5)
    PartUsed.objects.create(
        repair=repair, part=part, delivery=part.deliveries.get(), quantity=1
    )
    part.deliveries.update(remaining=4)
    Part.objects.filter(pk=part.pk).update(on_hand=4)
    kept = {"quantity": 1, "remaining": 1, "reserved_at": timezone.now()}
    job.reservations.create(part=make.part(), **kept)
    other = {"name": "hinge", "source": "customer", "added_at": timezone.now()}
    repair.unstocked_parts.create(**other)
    job.readings.create(test_point="5 V rail", value=5, read_at=timezone.now())
    job.labour.create(minutes=10)
    return job


def sent(job, fault, part):
    """All that any verb asks for, under every name it may ask for it."""
    repair = job.repairs.get()
    fix = repair.fix
    pk = repair.pk
    return {
        "version": job.version,
        "head-waiting_for": "parts",
        "findings-failed": 1,
        "findings-tries": 10,
        "findings-notes": "hot",
        "fault-fault": fault.code,
        "newfault-code": "NEW-ONE",
        "newfault-name": "New one",
        f"fix-{pk}-chosen": fix.pk,
        f"newfix-{pk}-code": "NEW-FIX",
        f"newfix-{pk}-name": "New fix",
        f"newfix-{pk}-fix_type": "lasting",
        f"newfix-{pk}-minutes": 5,
        f"giveup-{pk}-outcome": "not_fixed",
        f"giveup-{pk}-why": "no part to be had",
        "reading-test_point": "12 V rail",
        "reading-value": "11.9",
        "reading-stage": "before",
        "minutes-minutes": 5,
        "part-part": part.number,
        "part-quantity": 1,
        "unstocked-name": "hinge",
        "unstocked-source": "salvaged",
        "unstocked-quantity": 1,
        f"final-test-{pk}-tries": 60,
        f"final-test-{pk}-failed": 0,
        f"close-{pk}-outcome": "fixed",
        f"close-{pk}-fix_type": "lasting",
        "wayout-outcome": "not_repairable",
        "wayout-why": "board cracked",
        "reason-why": "looked again",
    }


def address(job, verb):
    if verb in OF_A_JOB:
        return reverse(f"bench:{verb}", args=[job.pk])
    repair = job.repairs.get()
    one = {
        "remove_reading": job.readings.first(),
        "stop_timer": job.labour.first(),
        "remove_labour": job.labour.first(),
        "put_back_part": repair.parts_used.first(),
        "remove_unstocked_part": repair.unstocked_parts.first(),
        "release_part": job.reservations.first(),
    }.get(verb, repair)
    return reverse(f"bench:{verb}", args=[one.pk])


def everything(job):
    """What the records hold of a job and its shelf."""
    return [
        list(model.objects.order_by("pk").values())
        for model in (
            Job,
            Repair,
            Reading,
            Labour,
            PartUsed,
            PartReservation,
            UnstockedPart,
            FinalTest,
            Part,
            StockMovement,
        )
    ] + [list(job.transitions.values())]


# Without the device, or without a repair in progress, the bench changes nothing.
NOT_AT_THE_BENCH = (states.EXPECTED, states.READY, states.HANDED_OVER)


def may_change(verb, state):
    if verb in ("save_details", "reopen"):
        return state != states.HANDED_OVER
    return state not in NOT_AT_THE_BENCH


@pytest.mark.parametrize("verb", [v for v in OF_A_JOB + OF_ONE if v != "find_part"])
def test_a_post_by_hand_makes_only_the_steps_of_the_table(bench, verb):
    for state in states.LABELS:
        job, fault, part = job_in(state), make.fault(), make.part(on_hand=3)
        before = everything(job)
        answer = bench.post(address(job, verb), sent(job, fault, part))
        assert answer.status_code in (200, 302)
        job.refresh_from_db()
        allowed = {new for old, new in STEPS.get(verb, ()) if old == state}
        assert (
            job.state == state
            or job.state in allowed & workflow.ALLOWED_TRANSITIONS[state]
        )
        steps = list(job.transitions.values_list("from_state", "to_state"))
        assert steps == ([] if job.state == state else [(state, job.state)])
        if (verb in STEPS and job.state == state) or not may_change(verb, state):
            assert everything(job) == before
        Fault.objects.filter(code="NEW-ONE").update(code=f"NEW-{job.pk}")
        Fix.objects.filter(code="NEW-FIX").update(code=f"NEWFIX-{job.pk}")


CLEAR = [
    *((verb, old, new) for verb, steps in STEPS.items() for old, new in steps),
]


@pytest.mark.parametrize(("verb", "old", "new"), CLEAR)
def test_a_step_of_the_table_is_made_when_all_is_there(bench, verb, old, new):
    job = job_in(old)
    if verb == "start_warranty_repair":
        earlier = make.past_repair(make.fault(), make.fix(), on=make.DAY, of=job.device)
        job.decisions.create(
            earlier=earlier,
            assessment="same_fault",
            is_in_warranty=True,
            assessed_on=make.DAY,
        )
    if (verb, new) == ("reopen", "approved"):
        job.transitions.create(
            from_state="quoted", to_state="approved", made_at=timezone.now()
        )
    bench.post(address(job, verb), sent(job, make.fault(), make.part()))
    job.refresh_from_db()
    assert job.state == new


def test_a_get_changes_nothing_and_redirects_to_the_job(bench):
    job = job_in(states.APPROVED)
    before = everything(job)
    for verb in OF_A_JOB + OF_ONE:
        if not verb.startswith("find_"):
            answer = bench.get(address(job, verb))
            assert answer.status_code == 302 and answer.url == job.get_absolute_url()
            assert everything(job) == before


@pytest.mark.parametrize("state", states.LABELS)
@pytest.mark.parametrize("kind", ["counter", "bench", "owner"])
def test_the_page_opens_in_every_state_for_everybody(client, state, kind):
    client.force_login(make.user(kind=kind))
    answer = client.get(job_in(state).get_absolute_url())
    assert answer.status_code == 200
