import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from repairs.jobs import states, workflow
from repairs.jobs.access_codes import show_access_code, store_access_code
from repairs.jobs.models import AccessCode, Job
from shopdesk.encryption import DecryptionError
from shopdesk.errors import RefusedError
from shopdesk.stamp import Stamp
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


def test_the_code_is_shown_once_with_a_reason_and_then_gone():
    job, who, now = job_with_code(), make.user(), timezone.now()
    shown = show_access_code(job, why="Testing the charger", stamp=Stamp(now, who))
    assert shown == CODE
    kept = AccessCode.objects.get(job=job)
    assert kept.ciphertext is None
    assert (kept.shown_to, kept.shown_at, kept.why) == (who, now, "Testing the charger")
    with pytest.raises(RefusedError, match="already shown"):
        show_access_code(job, why="Again", stamp=make.stamp(by=make.user()))
    kept.refresh_from_db()
    assert (kept.shown_to, kept.why) == (who, "Testing the charger")


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
    kept = AccessCode.objects.get(job=job)
    assert kept.ciphertext is None and kept.why == "Final test"


@pytest.mark.parametrize("consent", [Job.DataAccess.ASK, Job.DataAccess.NO])
def test_without_the_customers_yes_no_code_is_kept(consent):
    job = make.job(data_access=consent)
    with pytest.raises(RefusedError):
        store_access_code(job, code=CODE)
    assert not AccessCode.objects.exists()


def test_the_database_refuses_a_shown_code_that_is_still_kept():
    kept = AccessCode.objects.get(job=job_with_code())
    with pytest.raises(IntegrityError), transaction.atomic():
        AccessCode.objects.filter(pk=kept.pk).update(
            shown_at=timezone.now(), why="Leaky"
        )
