"""What a repair costs the shop: labour to the cent of a cent, and parts."""

from decimal import Decimal as D

import pytest

from repairs.jobs import states, workflow
from repairs.jobs.actions import use_part
from repairs.jobs.costs import repair_cost
from tests import make


def test_labour_is_paid_by_the_minute_and_parts_by_the_piece():
    parts = [(D("1.25"), 2), (D("0.5"), 3)]
    assert repair_cost(30, hourly_cost=D(36), parts=parts) == D("22")
    assert repair_cost(0, hourly_cost=D(36)) == 0


def test_minutes_of_the_whole_job_are_shared_evenly():
    assert repair_cost(10, job_minutes=30, repairs=3, hourly_cost=D(60)) == D(20)
    assert repair_cost(10, job_minutes=30, repairs=1, hourly_cost=D(60)) == D(40)


@pytest.mark.parametrize(
    ("hourly", "cost"),
    [
        ("0.0030", "0.0001"),  # 0.00005 an hour's sixtieth: half, and so up
        ("0.0029", "0.0000"),
        ("0.0090", "0.0002"),  # 0.00015: half-even would make it 0.0002 as well
        ("0.0150", "0.0003"),  # 0.00025: half-even would make it 0.0002
    ],
)
def test_half_a_unit_is_rounded_up(hourly, cost):
    assert repair_cost(1, hourly_cost=D(hourly)) == D(cost)


@pytest.mark.django_db
def test_every_repair_of_a_job_bears_its_share_at_handover():
    shop = make.shop(hourly_cost=D(60))
    job = make.job(state=states.READY, outcome=states.NOT_FIXED)
    repairs = [make.repair(job, outcome=states.NOT_FIXED) for _ in range(3)]
    job.labour.create(minutes=30)
    job.labour.create(repair=repairs[0], minutes=12)
    repairs[1].parts_used.create(part=make.part(), quantity=3, cost=D("1.10"))
    workflow.hand_over(job, stamp=make.stamp(on=make.DAY), shop=shop)
    costs = [repair.cost for repair in job.repairs.order_by("id")]
    assert costs == [D(22), D("13.3"), D(10)]


@pytest.mark.django_db
def test_parts_cost_what_the_deliveries_cost_that_they_came_from():
    """The oldest go first: two at 2.00, then one at 5.00."""
    shop = make.shop(hourly_cost=D(30))
    part = make.part()
    make.delivery(part, 4, unit_cost=D(5), on=make.DAY.replace(day=9))
    make.delivery(part, 2, unit_cost=D(2), on=make.DAY.replace(day=1))
    repair = make.repair(make.job(state=states.APPROVED))
    used = use_part(repair, part=part, quantity=3, stamp=make.stamp())
    assert [(one.quantity, one.cost) for one in used] == [(2, D(2)), (1, D(5))]
    job, why = repair.job, "It did not help."
    workflow.close(job, outcome=states.NOT_FIXED, why=why, stamp=make.stamp())
    workflow.hand_over(job, stamp=make.stamp(on=make.DAY), shop=shop)
    assert job.repairs.get().cost == D(9)
