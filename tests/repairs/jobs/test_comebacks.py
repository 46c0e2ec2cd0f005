"""The database keeps the table of comebacks equal to the decisions, whoever writes."""

import random
import time
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction

from repairs.faults.declared import LASTING
from repairs.guards import COMEBACKS
from repairs.jobs import states
from repairs.jobs.models import Comeback, Job, Repair, ReturnDecision
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
            *(one.handed_back_on, one.came_back_on, one.cost_on(day)),
        )
        for one in Comeback.objects.known_on(day)
    }


def reckoned(day):
    """The same, from the decisions themselves and in plain words."""
    last = {}
    for decision in ReturnDecision.objects.order_by("id"):
        if decision.decided_on <= day:
            last[decision.job_id] = decision
    repairs = {one.pk: one for one in Repair.objects.all()}
    visits = {one.pk: one for one in Job.objects.all()}
    done = defaultdict(list)
    for one in repairs.values():
        done[one.job_id].append(one)
    found = set()
    for decision in last.values():
        visit, earlier = visits[decision.job_id], repairs[decision.earlier_id]
        back_on = earlier.handed_back_on
        if (
            decision.what == states.SAME_FAULT
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
    if visit.handed_back_on is None or visit.handed_back_on > day:
        return None
    paid = [one for one in repairs if one.cost is not None]
    same = [one.cost for one in paid if one.fault_id == earlier.fault_id]
    counted = same or [one.cost for one in paid]
    return sum(counted) if counted else None


class Workshop:
    """Three devices, and whatever chance does to their papers."""

    def __init__(self, seed):
        self.chance = random.Random(seed)
        self.faults = [make.fault() for _ in range(3)]
        self.fixes = [make.fix(*self.faults) for _ in range(2)]
        self.earlier, self.visits = [], []
        for n in range(3):
            first = make.past_repair(self.any(self.faults), self.fixes[0], on=DAY)
            self.earlier.append(first)
            for visit in range(2):
                on = DAY + days(10 * visit + n + 1)
                self.visits.append(make.job(first.job.device, on=on))
            make.decision(self.visits[-1], first)

    @property
    def any(self):
        return self.chance.choice

    def amount(self):
        return self.any([None, Decimal(0), Decimal("12.3456"), Decimal(30)])

    def decide(self):
        make.decision(
            self.any(self.visits),
            self.any(self.earlier),
            what=self.any([states.SAME_FAULT, states.SAME_FAULT, states.NEW_FAULT]),
            on=DAY + days(self.chance.randrange(30)),
        )

    def work(self):
        visit = self.visit()
        made = make.repair(visit, self.any(self.faults), cost=self.amount())
        assert made.handed_back_on == visit.handed_back_on

    def visit(self):
        """A visit as it lies in the database by now."""
        return Job.objects.get(pk=self.any(self.visits).pk)

    def one(self):
        return Repair.objects.filter(pk=self.any(list(Repair.objects.all())).pk)

    def cost(self):
        self.one().update(cost=self.amount())

    def name_it(self):
        self.one().update(fault=self.any(self.faults))

    def mend(self):
        outcome = self.any([states.FIXED, states.FIXED, states.NO_FAULT_FOUND])
        self.one().update(outcome=outcome, fix=self.any(self.fixes), declared=LASTING)

    def move(self):
        to = self.visit()
        self.one().filter(job__in=self.visits).update(
            job=to, handed_back_on=to.handed_back_on
        )

    def take_out(self):
        self.one().filter(job__in=self.visits).delete()

    def hand_back(self):
        job = self.any([*self.visits, *(one.job for one in self.earlier)])
        job.refresh_from_db()
        Job.objects.filter(pk=job.pk).update(
            state=states.HANDED_BACK,
            outcome=states.FIXED,
            handed_back_on=job.booked_in_on + days(self.chance.randrange(9)),
        )

    def take_back(self):
        job = self.any([*self.visits, *(one.job for one in self.earlier)])
        Job.objects.filter(pk=job.pk).update(
            state=states.DIAGNOSED, handed_back_on=None
        )

    def book_in(self):
        visit = self.visit()
        latest = visit.handed_back_on or DAY + days(30)
        on = DAY + days(self.chance.randrange(30))
        Job.objects.filter(pk=visit.pk).update(booked_in_on=min(on, latest))


ACTS = ("decide", "decide", "work", "cost", "name_it", "mend", "move", "take_out")
ACTS += ("hand_back", "hand_back", "take_back", "book_in")


@pytest.mark.parametrize("seed", range(12))
def test_the_table_is_what_the_decisions_say_whatever_is_done(seed):
    shop = Workshop(seed)
    seen = 0
    for _ in range(60):
        getattr(shop, shop.any(ACTS))()
        for n in (0, 8, 15, 22, 40):
            day = DAY + days(n)
            assert told(day) == reckoned(day)
        seen += len(told(DAY + days(40)))
    assert seen > 20


def test_only_work_on_the_fault_that_came_back_is_its_cost():
    jack, fan = make.fault(), make.fault()
    first = make.past_repair(jack, make.fix(jack), on=DAY)
    visit = make.comeback(first, on=DAY + days(9)).job
    for fault, amount in ((jack, 12), (fan, 30), (jack, 3)):
        make.repair(visit, fault, cost=Decimal(amount))
    assert Comeback.objects.get().cost == Decimal(15)


def test_a_visit_written_under_other_faults_counts_whole():
    jack = make.fault()
    first = make.past_repair(jack, make.fix(jack), on=DAY)
    visit = make.comeback(first, on=DAY + days(9)).job
    for amount in (12, 30):
        make.repair(visit, make.fault(), cost=Decimal(amount))
    assert Comeback.objects.get().cost == Decimal(42)


def test_a_visit_not_handed_back_has_no_cost_yet():
    jack = make.fault()
    first = make.past_repair(jack, make.fix(jack), on=DAY)
    visit = make.comeback(first, on=DAY + days(9)).job
    make.repair(visit, jack, cost=Decimal(12))
    over = DAY + days(12)
    assert Comeback.objects.get().cost_on(over) is None
    Job.objects.filter(pk=visit.pk).update(
        state=states.HANDED_BACK, outcome=states.FIXED, handed_back_on=over
    )
    back = Comeback.objects.get()
    assert (back.cost_on(over - days(1)), back.cost_on(over)) == (None, Decimal(12))


def test_what_changed_while_the_triggers_were_down_is_found_when_they_are_set_up():
    jack, fan = make.fault(), make.fault()
    first = make.past_repair(jack, make.fix(jack, fan), on=DAY)
    make.comeback(first, on=DAY + days(9))
    with connection.cursor() as cursor:
        for statement in COMEBACKS.drop(connection.vendor):
            cursor.execute(statement)
        Repair.objects.filter(pk=first.pk).update(fault=fan)
        assert Comeback.objects.get().fault == jack
        for statement in COMEBACKS.create(connection.vendor):
            cursor.execute(statement)
    assert told(DAY + days(30)) == reckoned(DAY + days(30))
    assert Comeback.objects.get().fault == fan


@pytest.mark.django_db(transaction=True)
def test_of_two_who_write_at_once_the_second_sees_the_first():
    jack, fan = make.fault(), make.fault()
    fix = make.fix(jack, fan)
    first = make.past_repair(jack, fix, on=DAY)
    visit = make.job(first.job.device, on=DAY + days(9))
    one, two = (make.repair(visit, jack, cost=Decimal(n)) for n in (1, 2))

    def slowly(act):
        def do():
            with transaction.atomic():
                act()
                time.sleep(0.3)

        return do

    def update(repair, **facts):
        return lambda: Repair.objects.filter(pk=repair.pk).update(**facts)

    def decide():
        make.decision(visit, first)

    def works():
        Repair.objects.create(job=visit, fault=jack, cost=Decimal(100))

    acts = [decide, update(one, cost=Decimal(10)), update(first, fault=fan), works]
    assert all_at_once(*map(slowly, acts)) == []
    assert told(DAY + days(30)) == reckoned(DAY + days(30))
    acts = [update(one, cost=Decimal(20)), update(two, cost=Decimal(50)), works]
    acts += [lambda: Job.objects.filter(pk=visit.pk).update(booked_in_on=DAY + days(7))]
    assert all_at_once(*map(slowly, acts)) == []
    assert told(DAY + days(30)) == reckoned(DAY + days(30)) != set()
    assert Comeback.objects.get().came_back_on == DAY + days(7)
