"""However parts move, the stock, its deliveries and its movements agree."""

import multiprocessing
import random
import threading
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, connections, transaction
from django.db.models import Sum
from hypothesis import settings
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)
from hypothesis.strategies import integers, sampled_from

from repairs.jobs import states
from repairs.jobs.actions import use_part
from repairs.jobs.models import PartUsed, Repair
from repairs.jobs.reserving import reserve_part
from repairs.stock import actions
from repairs.stock.models import Delivery, OutOfStockError, Part, StockMovement
from repairs.stock.queries import current_costs
from shopdesk.errors import RefusedError, StaleError
from tests import make

COUNTS = integers(min_value=1, max_value=9)


def levels(part):
    """The three ways to say how many there are."""
    return (
        Part.objects.get(pk=part.pk).on_hand,
        part.movements.aggregate(n=Sum("quantity"))["n"] or 0,
        part.deliveries.aggregate(n=Sum("remaining"))["n"] or 0,
    )


class StockMachine(RuleBasedStateMachine):
    """All that can happen to one part, beside a plain number."""

    def __init__(self):
        super().__init__()
        self.block = transaction.atomic()
        self.block.__enter__()
        self.part, self.level, self.taken = make.part(), 0, []
        self.blocked = {}

    def teardown(self):
        transaction.set_rollback(True)
        self.block.__exit__(None, None, None)

    @rule(quantity=COUNTS)
    def receive(self, quantity):
        cost = Decimal(quantity)
        actions.receive(
            self.part,
            quantity=quantity,
            unit_cost=cost,
            on=make.DAY,
            stamp=make.stamp(),
        )
        self.level += quantity

    @rule(
        quantity=COUNTS, kind=sampled_from(["used", "scrapped"]), index=integers(0, 3)
    )
    def take(self, quantity, kind, index):
        deliveries = list(self.part.deliveries.filter(remaining__gt=0))
        delivery = deliveries[index] if index < len(deliveries) else None
        enough = delivery.remaining if delivery else self.level
        try:
            shares = actions.remove_from_stock(
                self.part,
                quantity=quantity,
                kind=kind,
                delivery=delivery,
                stamp=make.stamp(),
            )
        except OutOfStockError:
            assert quantity > enough
            return
        assert quantity <= enough and sum(n for _, n in shares) == quantity
        self.level -= quantity
        if kind == "used":
            self.taken += shares

    @rule(index=integers(min_value=0, max_value=20))
    def put_back(self, index):
        if self.taken:
            delivery, quantity = self.taken.pop(index % len(self.taken))
            actions.put_back_in_stock(
                self.part, delivery=delivery, quantity=quantity, stamp=make.stamp()
            )
            if delivery.pk in self.blocked:
                share = min(quantity, delivery.quantity - self.blocked[delivery.pk])
                self.blocked[delivery.pk] += share
                quantity -= share
            self.level += quantity

    @rule(index=integers(0, 5))
    def block(self, index):
        free = list(self.part.deliveries.filter(blocked_on=None))
        if free:
            delivery = free[index % len(free)]
            self.blocked[delivery.pk] = delivery.remaining
            self.level -= delivery.remaining
            actions.block_delivery(delivery, reason="bad", stamp=make.stamp())
            with pytest.raises(OutOfStockError, match="is blocked: bad"):
                facts = {"delivery": delivery, "stamp": make.stamp()}
                actions.remove_from_stock(self.part, quantity=1, **facts)

    @rule(index=integers(0, 5))
    def release(self, index):
        if self.blocked:
            pk = sorted(self.blocked)[index % len(self.blocked)]
            self.level += self.blocked.pop(pk)
            delivery = Delivery.objects.get(pk=pk)
            actions.release_delivery(delivery, stamp=make.stamp())

    @rule(counted=integers(min_value=0, max_value=30))
    def count(self, counted):
        change = actions.count(self.part, counted=counted, stamp=make.stamp())
        assert change == counted - self.level
        self.level = counted

    @invariant()
    def all_agree(self):
        assert levels(self.part) == (self.level,) * 3
        for delivery in self.part.deliveries.all():
            moved = delivery.movements.aggregate(n=Sum("quantity"))["n"]
            assert moved == delivery.remaining <= delivery.quantity
            assert delivery.blocked_quantity == self.blocked.get(delivery.pk, 0)


def test_stock_deliveries_and_movements_always_agree(db):
    run_state_machine_as_test(
        StockMachine, settings=settings(max_examples=40, stateful_step_count=25)
    )


def test_what_a_count_found_already_does_not_overfill_a_blocked_delivery(db):
    part = make.part(on_hand=5)
    delivery = part.deliveries.get()
    actions.remove_from_stock(part, quantity=3, stamp=make.stamp())
    actions.count(part, counted=5, stamp=make.stamp())
    actions.block_delivery(delivery, reason="bad", stamp=make.stamp())
    actions.put_back_in_stock(part, delivery=delivery, quantity=3, stamp=make.stamp())
    delivery.refresh_from_db()
    assert (delivery.blocked_quantity, levels(part)) == (5, (3,) * 3)
    actions.release_delivery(delivery, stamp=make.stamp())
    assert levels(part) == (8,) * 3


def test_a_count_below_takes_from_the_oldest_delivery(db):
    part = make.part()
    old, new = make.delivery(part, 4), make.delivery(part, 4)
    part.refresh_from_db()
    assert actions.count(part, counted=3, stamp=make.stamp(), reason="bin short") == -5
    left = Delivery.objects.in_bulk([old.pk, new.pk])
    assert (left[old.pk].remaining, left[new.pk].remaining) == (0, 3)
    movements = part.movements.filter(kind="counted")
    assert [movement.reason for movement in movements] == ["bin short"] * 2


def test_a_count_above_goes_to_the_delivery_used_last(db):
    part = make.part()
    old, new = make.delivery(part, 4), make.delivery(part, 4)
    actions.remove_from_stock(part, quantity=6, stamp=make.stamp())
    actions.count(part, counted=5, stamp=make.stamp())
    left = Delivery.objects.in_bulk([old.pk, new.pk])
    assert (left[old.pk].remaining, left[new.pk].remaining) == (1, 4)


def test_a_count_above_all_deliveries_adds_one_at_the_last_cost(db):
    part = make.part(on_hand=2, unit_cost=Decimal("1.25"))
    actions.count(part, counted=5, stamp=make.stamp())
    found = part.deliveries.get(lot="found")
    assert (found.quantity, found.remaining) == (3, 3)
    assert found.unit_cost == Decimal("1.25")


def test_a_part_costs_what_its_oldest_delivery_in_stock_cost(db):
    part, never = make.part(), make.part()
    for day, cost in ((3, "7"), (1, "2"), (2, "5")):
        on = make.DAY.replace(day=day)
        make.delivery(part, 1, unit_cost=Decimal(cost), on=on)
    for cost in ("2", "5", "7"):
        assert current_costs([part, never]) == {part.pk: Decimal(cost)}
        actions.remove_from_stock(part, quantity=1, stamp=make.stamp())
    assert current_costs([part]) == {part.pk: Decimal(7)}  # the last one, once used up


def test_a_count_without_difference_is_recorded(db):
    part = make.part(on_hand=2)
    assert actions.count(part, counted=2, stamp=make.stamp()) == 0
    assert part.movements.filter(kind="counted", quantity=0).count() == 1


@pytest.mark.parametrize("quantity", [6, 0, -1])
def test_a_refused_removal_changes_nothing(db, quantity):
    part = make.part(on_hand=5)
    with pytest.raises(OutOfStockError):
        actions.remove_from_stock(part, quantity=quantity, stamp=make.stamp())
    assert levels(part) == (5, 5, 5)
    assert part.movements.count() == 1


def test_a_named_delivery_is_not_topped_up_from_another(db):
    part = make.part()
    small, _ = make.delivery(part, 2), make.delivery(part, 9)
    with pytest.raises(OutOfStockError, match="only 2 left in delivery"):
        actions.remove_from_stock(part, quantity=3, delivery=small, stamp=make.stamp())
    assert levels(part) == (11, 11, 11)


def test_a_delivery_of_another_part_is_not_taken_from(db):
    part, other = make.part(on_hand=5), make.part(on_hand=5)
    with pytest.raises(OutOfStockError):
        actions.remove_from_stock(
            part, quantity=1, delivery=other.deliveries.get(), stamp=make.stamp()
        )
    assert levels(part) == levels(other) == (5, 5, 5)


def test_the_same_form_sent_twice_changes_stock_once(db):
    part = make.part(on_hand=5)
    last_movement_id = actions.last_movement(part)
    facts = {
        "quantity": 2,
        "unit_cost": Decimal(1),
        "on": make.DAY,
        "stamp": make.stamp(),
    }
    actions.receive(part, last_movement_id=last_movement_id, **facts)
    with pytest.raises(StaleError, match="changed: 7 in stock"):
        actions.receive(part, last_movement_id=last_movement_id, **facts)
    assert levels(part) == (7, 7, 7)


def test_the_database_refuses_a_level_below_zero(db):
    part = make.part(on_hand=1)
    with pytest.raises(IntegrityError), transaction.atomic():
        Part.objects.filter(pk=part.pk).update(on_hand=-1)
    for remaining in (-1, 2):
        with pytest.raises(IntegrityError), transaction.atomic():
            Delivery.objects.update(remaining=remaining)


def at_once(*verbs):
    """Runs each verb in a thread of its own, all let go together."""
    ready, done = threading.Barrier(len(verbs)), []

    def run(verb):
        try:
            ready.wait()
            verb()
            done.append("")
        except RefusedError as refusal:
            done.append(type(refusal).__name__)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[verb]) for verb in verbs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(done)


@pytest.mark.django_db(transaction=True)
def test_two_people_cannot_both_take_the_last_parts():
    part = make.part(on_hand=4)

    def take():
        mine = Part.objects.get(pk=part.pk)
        actions.remove_from_stock(mine, quantity=3, stamp=make.stamp())

    assert at_once(take, take) == ["", "OutOfStockError"]
    assert levels(part) == (1, 1, 1)


@pytest.mark.django_db(transaction=True)
def test_stock_agrees_after_many_simultaneous_movements():
    part = make.part(on_hand=6)
    dice = random.Random(7)

    def take():
        actions.remove_from_stock(
            Part.objects.get(pk=part.pk),
            quantity=dice.randint(1, 3),
            stamp=make.stamp(),
        )

    def receive():
        actions.receive(
            Part.objects.get(pk=part.pk),
            quantity=2,
            unit_cost=Decimal(1),
            on=make.DAY,
            stamp=make.stamp(),
        )

    def count():
        actions.count(Part.objects.get(pk=part.pk), counted=9, stamp=make.stamp())

    done = at_once(take, receive, take, count, take, receive, take, count)
    assert len(done) == 8
    level, moved, remaining = levels(part)
    assert level == moved == remaining >= 0


def in_processes(number, work):
    """Run `work` in so many processes at once; return what each of them returned."""
    connections.close_all()  # none is shared with a child
    context = multiprocessing.get_context("fork")
    ready, results = context.Barrier(number), context.SimpleQueue()

    def run():
        ready.wait()
        results.put(work())
        connections.close_all()

    # As daemons: none is left behind by a test that fails.
    processes = [context.Process(target=run, daemon=True) for _ in range(number)]
    for process in processes:
        process.start()
    for process in processes:
        process.join(60)
    assert [process.exitcode for process in processes] == [0] * number
    return [results.get() for _ in processes]


@pytest.mark.django_db(transaction=True)
@pytest.mark.filterwarnings("ignore:.*use of fork:DeprecationWarning")
def test_eight_processes_use_exactly_the_fifty_that_there_are():
    part = make.part(on_hand=50)
    jobs = [make.repair(make.job(state=states.APPROVED)).job for _ in range(8)]
    for job in jobs:
        reserve_part(job, part=part, quantity=10, stamp=make.stamp())
    repairs = multiprocessing.get_context("fork").SimpleQueue()
    for job in jobs:
        repairs.put(job.repairs.get().pk)

    def use_until_refused():
        repair, used = Repair.objects.get(pk=repairs.get()), 0
        mine = Part.objects.get(pk=part.pk)
        while True:
            try:
                use_part(repair, part=mine, stamp=make.stamp())
            except OutOfStockError:
                return used
            used += 1

    used = in_processes(8, use_until_refused)
    assert sum(used) == 50
    assert levels(part) == (0, 0, 0)
    booked = PartUsed.objects.filter(part=part).aggregate(n=Sum("quantity"))["n"]
    assert booked == 50
    for reservation in part.reservations.all():
        took = PartUsed.objects.filter(repair__job=reservation.job).count()
        assert reservation.remaining == max(0, 10 - took)


@pytest.mark.django_db(transaction=True)
def test_a_form_sent_twice_at_once_receives_once():
    part = make.part(on_hand=1)
    last_movement_id = actions.last_movement(part)

    def receive():
        actions.receive(
            Part.objects.get(pk=part.pk),
            quantity=5,
            unit_cost=Decimal(1),
            on=make.DAY,
            stamp=make.stamp(),
            last_movement_id=last_movement_id,
        )

    assert at_once(receive, receive) == ["", "StaleError"]
    assert levels(part) == (6, 6, 6)
    assert StockMovement.objects.filter(kind="received", quantity=5).count() == 1
