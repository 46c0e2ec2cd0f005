import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from repairs.jobs import states
from repairs.jobs.models import JobTransition
from tests import make


@pytest.fixture
def step(db):
    return JobTransition.objects.create(
        job=make.job(), from_state="", to_state=states.BOOKED_IN, made_at=timezone.now()
    )


def test_the_database_refuses_to_change_a_step(step):
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        JobTransition.objects.filter(pk=step.pk).update(why="rewritten")
    step.refresh_from_db()
    assert step.why == ""


def test_the_database_refuses_to_delete_a_step(step):
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        JobTransition.objects.filter(pk=step.pk).delete()
    assert JobTransition.objects.filter(pk=step.pk).exists()


@pytest.mark.django_db(transaction=True)
def test_guards_stand_in_a_test_with_real_transactions_too():
    step = JobTransition.objects.create(
        job=make.job(), from_state="", to_state=states.BOOKED_IN, made_at=timezone.now()
    )
    with pytest.raises(DatabaseError, match="cannot be changed"):
        JobTransition.objects.filter(pk=step.pk).delete()


def test_guards_stand_again_after_such_a_test(step):
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        step.delete()
