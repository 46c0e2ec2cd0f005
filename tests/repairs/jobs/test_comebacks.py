"""The comeback table matches the assessments, whatever is done in any order."""

import random
import time
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import IntegrityError, transaction

from repairs.checks import comebacks_are_as_decided
from repairs.faults.fix_types import LASTING
from repairs.jobs import states, workflow
from repairs.jobs.models import Comeback, Job, Repair, ReturnAssessment
from repairs.returns.actions import assess_return
from shopdesk.errors import RefusedError
from tests import make
from tests.at_once import all_at_once

pytestmark = pytest.mark.django_db

DAY = date(2026, 3, 2)


def days(n):
    return timedelta(days=n)


def told(day):
    """The comebacks known on that day: visit, repair, its pair and day, and cost."""
    return {
        (
            *(one.job_id, one.earlier_id, one.fault_id, one.fix_id),
            *(one.handed_over_on, one.came_back_on, one.cost_on(day)),
        )
        for one in Comeback.objects.recorded_on(day)
    }


def calculated(day):
    """The same, from the decisions themselves and in plain words."""
    last = {}
    for decision in ReturnAssessment.objects.order_by("id"):
        if decision.assessed_on <= day:
            last[decision.job_id] = decision
    repairs = {one.pk: one for one in Repair.objects.all()}
    visits = {one.pk: one for one in Job.objects.all()}
    done = defaultdict(list)
    for one in repairs.values():
        done[one.job_id].append(one)
    found = set()
    for decision in last.values():
        visit, earlier = visits[decision.job_id], repairs[decision.earlier_id]
        back_on = earlier.handed_over_on
        if (
            decision.assessment == states.SAME_FAULT
            and visit.booked_in_on <= day
            and earlier.outcome == states.FIXED
            and back_on is not None
            and back_on <= day
        ):
            found.add(
                (
                    *(visit.pk, earlier.pk, earlier.fault_id, earlier.fix_id),
                    *(back_on, visit.booked_in_on),
                    cost(visit, earlier, done[visit.pk], day=day),
                )
            )
    return found


def cost(visit, earlier, repairs, *, day):
    """Work on the fault that came back; if there was none, all that was done."""
    if visit.handed_over_on is None or visit.handed_over_on > day:
        return None
    paid = [one for one in repairs if one.cost is not None]
    same = [one.cost for one in paid if one.fault_id == earlier.fault_id]
    counted = same or [one.cost for one in paid]
    return sum(counted) if counted else None


class Workshop:
    """Three devices, and whatever chance does with them through the shop's actions."""

    def __init__(self, seed):
        self.chance = random.Random(seed)
        self.faults = [make.fault() for _ in range(3)]
        self.fixes = [make.fix(*self.faults) for _ in range(2)]
        make.shop(hourly_cost=Decimal(36))
        for _ in range(3):
            first = make.past_repair(self.any(self.faults), self.fixes[0], on=DAY)
            visit = make.job(first.job.device, on=DAY + days(3))
            make.decision(visit, first)
            self.book_in()
        self.hand_over(visit)

    @property
    def any(self):
        return self.chance.choice

    def one(self, **which):
        found = list(Job.objects.filter(**which).order_by("pk"))
        return self.any(found) if found else None

    def day(self, least=DAY):
        return least + days(self.chance.randrange(12))

    def book_in(self):
        device = self.one().device
        state = self.any([states.BOOKED_IN, states.EXPECTED])
        make.job(device, on=self.day(), state=state, bench_notes="verified")

    def decide(self):
        visit = self.one()
        earlier = list(Repair.objects.filter(job__device=visit.device))
        assess_return(
            visit,
            earlier=self.any(earlier),
            assessment=self.any(
                [states.SAME_FAULT, states.SAME_FAULT, states.NEW_FAULT]
            ),
            is_in_warranty=False,
            stamp=make.stamp(on=self.day(visit.booked_in_on)),
        )

    def arrive(self):
        if job := self.one(state=states.EXPECTED):
            workflow.record_arrival(
                job, stamp=make.stamp(on=self.day(job.booked_in_on))
            )

    def work(self, job=None):
        if job := job or self.one(state=states.BOOKED_IN):
            make.repair(
                job,
                self.any(self.faults),
                fix=self.any(self.fixes),
                outcome=self.any([states.FIXED, states.FIXED, states.NO_FAULT_FOUND]),
                fix_type=LASTING,
                minutes_from_history=self.any([0, 7, 30, 55]),
            )

    def hand_over(self, job=None):
        if job := job or self.one(state=states.BOOKED_IN):
            self.work(job)
            ready = {"state": states.READY, "outcome": states.FIXED}
            Job.objects.filter(pk=job.pk).update(**ready)
            workflow.hand_over(
                job, stamp=make.stamp(on=self.day(job.booked_in_on)), shop=make.shop()
            )


ACTS = ("decide", "decide", "arrive", "work", "work", "hand_over", "hand_over")
ACTS += ("decide", "book_in")


@pytest.mark.parametrize("seed", range(8))
def test_the_table_is_what_the_decisions_say_whatever_is_done(seed):
    shop = Workshop(seed)
    seen = costly = 0
    for _ in range(60):
        try:
            getattr(shop, shop.any(ACTS))()
        except RefusedError:
            continue
        assert Comeback.objects.first_difference() == ""
        for n in (0, 8, 22, 40):
            day = DAY + days(n)
            assert told(day) == calculated(day)
        seen += len(told(DAY + days(40)))
        costly += sum(bool(cost) for *_, cost in told(DAY + days(40)))
    assert seen > 20 and costly > 0


def visit_of(*costs, faults=None):
    """A comeback handed over after repairs that cost so much."""
    jack = make.fault()
    first = make.past_repair(jack, make.fix(jack), on=DAY)
    visit = make.comeback(first, on=DAY + days(9)).job
    for fault, amount in zip(faults or [jack] * len(costs), costs, strict=True):
        make.repair(visit, fault or jack, cost=Decimal(amount))
    make.hand_over(visit, on=DAY + days(12))
    return visit


def test_only_work_on_the_fault_that_came_back_is_its_cost():
    visit_of(12, 30, 3, faults=[None, make.fault(), None])
    assert Comeback.objects.get().cost == Decimal(15)


def test_a_visit_recorded_under_other_faults_counts_whole():
    visit_of(12, 30, faults=[make.fault(), make.fault()])
    assert Comeback.objects.get().cost == Decimal(42)


def test_a_visit_has_no_cost_before_the_day_of_its_handover():
    visit_of(12)
    over = DAY + days(12)
    back = Comeback.objects.get()
    assert (back.cost_on(over - days(1)), back.cost_on(over)) == (None, Decimal(12))


def test_an_announced_device_came_back_on_the_day_it_arrives():
    first = make.past_repair(make.fault(), make.fix(), on=DAY)
    visit = make.job(first.job.device, on=DAY + days(9), state=states.EXPECTED)
    make.decision(visit, first)
    workflow.record_arrival(visit, stamp=make.stamp(on=DAY + days(11)))
    assert Comeback.objects.get().came_back_on == DAY + days(11)


# --- what is changed by hand is refused, or found by the check ------------------


CHANGES = {
    "fault": lambda: {"fault": make.fault()},
    "fix": lambda: {"fix": make.fix()},
    "outcome": lambda: {"outcome": states.NOT_FIXED},
    "fix_type": lambda: {"fix_type": "stopgap"},
    "cost": lambda: {"cost": Decimal(1)},
    "job": lambda: {"job": make.past_repair(make.fault(), make.fix(), on=DAY).job},
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_what_a_comeback_says_of_the_earlier_repair_is_final(change):
    visit_of(12)
    before, repairs = list(Comeback.objects.values()), list(Repair.objects.all())
    facts = change()
    why = "after handover|on the day of its job"
    for repair in repairs:
        with pytest.raises(IntegrityError, match=why), transaction.atomic():
            Repair.objects.filter(pk=repair.pk).update(**facts)
    assert list(Comeback.objects.values()) == before


def test_a_repair_handed_back_is_not_deleted():
    visit = visit_of(12)
    with pytest.raises(IntegrityError, match="after hand"), transaction.atomic():
        visit.repairs.get().delete()


@pytest.mark.parametrize("column", ["booked_in_on", "handed_over_on"])
def test_the_days_of_a_visit_are_final(column):
    visit = visit_of(12)
    day = DAY + days(11)
    with pytest.raises(IntegrityError, match="cannot be changed"), transaction.atomic():
        Job.objects.filter(pk=visit.pk).update(**{column: day})


def test_the_same_facts_of_a_repair_at_the_bench_are_free():
    repair = make.repair(make.job(), cost=Decimal(1))
    facts = {"fix": make.fix(), "outcome": states.FIXED, "fix_type": "lasting"}
    Repair.objects.filter(pk=repair.pk).update(cost=Decimal(2), **facts)
    Repair.objects.filter(pk=repair.pk).delete()


def test_what_the_accepted_price_bore_may_be_set_after_handover():
    visit = visit_of(12)
    visit.repairs.update(
        charged=Decimal(20), comeback_allowance=Decimal(3), note="went well"
    )
    assert visit.repairs.get().comeback_allowance == Decimal(3)


def checked():
    return [error.msg for error in comebacks_are_as_decided(databases=["default"])]


def test_the_check_names_the_first_row_that_differs():
    visit, later = visit_of(12), visit_of(15)
    assert checked() == []
    back = visit.comebacks.get()
    Comeback.objects.filter(pk=back.pk).update(cost=Decimal(13), superseded_on=DAY)
    later.comebacks.all().delete()
    [message] = checked()
    assert f"decision {back.pk}: cost is 130000 and must be 120000" in message
    assert f"superseded_on is {DAY} and must be None" in message
    Comeback.objects.write(visit)
    assert f"decision {later.decisions.get().pk}: the row is missing" in checked()[0]
    with pytest.raises(SystemCheckError, match="differs from the return assessments"):
        call_command("check", databases=["default"])
    Comeback.objects.write_all()
    assert checked() == []
    decision = ReturnAssessment.objects.create(
        job=later,
        earlier=visit.repairs.get(),
        assessment=states.NEW_FAULT,
        assessed_on=DAY,
    )
    Comeback.objects.write(later)
    Comeback.objects.bulk_create([Comeback(**facts_of(back, decision=decision))])
    assert f"decision {decision.pk}: there must be no row" in checked()[0]


def facts_of(comeback, **others):
    fields = [field.name for field in Comeback._meta.concrete_fields]
    return {name: getattr(comeback, name) for name in fields} | others


# --- two at once ----------------------------------------------------------------


def slowly(act):
    """`act` in a transaction that stays open a little, so that others come in."""

    def do():
        with transaction.atomic():
            act()
            time.sleep(0.3)

    return do


@pytest.mark.django_db(transaction=True)
def test_of_two_who_write_at_once_the_second_sees_the_first():
    jack = make.fault()
    first = make.past_repair(jack, make.fix(jack), on=DAY)
    visit = make.job(first.job.device, on=DAY + days(9))

    def decide(assessment):
        return lambda: make.decision(visit, first, assessment=assessment)

    same, new = states.SAME_FAULT, states.NEW_FAULT
    acts = [decide(what) for what in (same, new, same, new)]
    assert all_at_once(*map(slowly, acts)) == []
    assert Comeback.objects.count() == 2
    assert Comeback.objects.first_difference() == ""
    assert told(DAY + days(30)) == calculated(DAY + days(30))


@pytest.mark.django_db(transaction=True)
def test_a_return_decided_while_its_device_is_handed_back_has_its_cost():
    jack = make.fault()
    make.shop(hourly_cost=Decimal(36))
    first = make.past_repair(jack, make.fix(jack), on=DAY)
    visit = make.job(
        first.job.device, on=DAY + days(9), state=states.READY, outcome=states.FIXED
    )
    make.repair(visit, jack, minutes_from_history=30)

    def decide():
        assess_return(
            Job.objects.get(pk=visit.pk),
            earlier=first,
            assessment=states.SAME_FAULT,
            is_in_warranty=False,
            stamp=make.stamp(on=DAY + days(9)),
        )

    def leave():
        workflow.hand_over(
            Job.objects.get(pk=visit.pk),
            stamp=make.stamp(on=DAY + days(12)),
            shop=make.shop(),
        )

    assert all_at_once(*map(slowly, [decide, leave, decide])) == []
    assert Comeback.objects.first_difference() == ""
    assert [one.cost for one in Comeback.objects.all()] == [Decimal(18)] * 2
    assert told(DAY + days(30)) == calculated(DAY + days(30)) != set()


@pytest.mark.django_db(transaction=True)
def test_the_whole_table_is_written_while_others_decide():
    jack = make.fault()
    first = make.past_repair(jack, make.fix(jack), on=DAY)
    visits = [make.job(first.job.device, on=DAY + days(9)) for _ in range(3)]
    acts = [lambda visit=visit: make.decision(visit, first) for visit in visits]
    acts.insert(1, Comeback.objects.write_all)
    assert all_at_once(*map(slowly, acts)) == []
    assert Comeback.objects.count() == 3
    assert Comeback.objects.first_difference() == ""
