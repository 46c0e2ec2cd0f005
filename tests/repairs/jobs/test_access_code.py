import pytest
from django.db import connection

from repairs.jobs import states, workflow
from repairs.jobs.access_codes import (
    show_access_code,
    store_access_code,
    times_shown,
)
from repairs.jobs.models import AccessCode, Job
from shopdesk.encryption import DecryptionError
from shopdesk.errors import RefusedError
from tests import make

CODE = "7294-Marmalade"
pytestmark = pytest.mark.django_db


def job_with_code(code=CODE, **facts):
    job = make.job(data_access=Job.DataAccess.YES, **facts)
    store_access_code(job, code=code)
    return job


def everything_stored():
    """All rows of all tables, as the database gives them raw."""
    with connection.cursor() as cursor:
        found = b""
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            for row in cursor.fetchall():
                for value in row:
                    is_bytes = isinstance(value, bytes | memoryview)
                    found += bytes(value) if is_bytes else str(value).encode()
    return found


def test_the_database_never_holds_the_code_as_it_was_typed():
    job = job_with_code(complaint="Canary complaint")
    stored = everything_stored()
    assert b"Canary complaint" in stored
    assert CODE.encode() not in stored
    assert "Marmalade" not in repr(AccessCode.objects.get(job=job).__dict__)


def test_each_time_the_code_is_shown_is_in_the_trail():
    job, who, other = job_with_code(), make.user(), make.user()
    for person, why in ((who, "Testing the charger"), (other, "Final test")):
        stamp = make.stamp(by=person)
        assert show_access_code(job, why=why, stamp=stamp) == CODE
    shown = [(event.by, event.values) for event in times_shown(job)]
    assert shown == [
        (other, {"why": "Final test"}),
        (who, {"why": "Testing the charger"}),
    ]


def test_without_a_reason_nothing_is_shown_and_nothing_moves():
    job = job_with_code()
    before = bytes(AccessCode.objects.get(job=job).ciphertext)
    with pytest.raises(RefusedError, match="reason for showing"):
        show_access_code(job, why="  ", stamp=make.stamp(by=make.user()))
    assert bytes(AccessCode.objects.get(job=job).ciphertext) == before


def test_an_encrypted_code_moved_to_another_job_is_refused_and_left_alone():
    mine, other = job_with_code("1111"), job_with_code("2222")
    stolen = bytes(AccessCode.objects.get(job=other).ciphertext)
    AccessCode.objects.filter(job=mine).update(ciphertext=stolen)
    with pytest.raises(DecryptionError, match="another job"):
        show_access_code(mine, why="Curious", stamp=make.stamp(by=make.user()))
    assert bytes(AccessCode.objects.get(job=mine).ciphertext) == stolen


def test_the_code_is_gone_once_the_device_is_handed_back():
    job = job_with_code(state=states.READY, outcome=states.FIXED)
    workflow.hand_over(job, stamp=make.stamp(on=make.DAY), shop=make.shop())
    assert not AccessCode.objects.filter(job=job).exists()


def test_who_was_shown_the_code_stays_on_record_after_handing_back():
    job = job_with_code(state=states.READY, outcome=states.FIXED)
    show_access_code(job, why="Final test", stamp=make.stamp(by=make.user()))
    workflow.hand_over(job, stamp=make.stamp(on=make.DAY), shop=make.shop())
    assert [event.values["why"] for event in times_shown(job)] == ["Final test"]
    with pytest.raises(RefusedError, match="No access code"):
        show_access_code(job, why="Again", stamp=make.stamp())


@pytest.mark.parametrize("consent", [Job.DataAccess.ASK, Job.DataAccess.NO])
def test_without_the_customers_yes_no_code_is_kept(consent):
    job = make.job(data_access=consent)
    with pytest.raises(RefusedError):
        store_access_code(job, code=CODE)
    assert not AccessCode.objects.exists()
