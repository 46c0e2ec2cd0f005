import pytest
from django.urls import reverse

from repairs.jobs.access_codes import store_access_code
from repairs.jobs.models import AccessCode, Job
from tests import make


@pytest.fixture
def bench(client, db):
    client.force_login(make.user("bench"))
    return client


def job_with_code():
    job = make.job(data_access=Job.DataAccess.YES)
    store_access_code(job, code="7294-Marmalade")
    return job


def test_the_bench_sees_the_code_each_time_it_gives_a_reason(bench):
    job = job_with_code()
    page = reverse("intake:show_code", args=[job.pk])
    assert "Marmalade" not in bench.get(page).text
    for why in ("To test the touch screen", "Final test"):
        answer = bench.post(page, {"reason": why})
        assert "7294-Marmalade" in answer.text
        assert "no-store" in answer["Cache-Control"]
    listed = bench.get(page).text
    assert "Marmalade" not in listed
    assert "To test the touch screen" in listed and "Final test" in listed


@pytest.mark.parametrize("why", ["", "  ", "x" * 301])
def test_without_a_reason_the_code_stays_encrypted(bench, why):
    job = job_with_code()
    answer = bench.post(reverse("intake:show_code", args=[job.pk]), {"reason": why})
    assert "Marmalade" not in answer.text and "Error:" in answer.text
    assert AccessCode.objects.get(job=job).ciphertext is not None


def test_opening_the_page_does_not_show_the_code(bench):
    job = job_with_code()
    page = reverse("intake:show_code", args=[job.pk])
    bench.get(page, {"reason": "Curious"})
    assert AccessCode.objects.get(job=job).ciphertext is not None


def test_a_code_moved_to_another_job_is_refused(bench):
    mine, other = job_with_code(), job_with_code()
    AccessCode.objects.filter(job=mine).update(
        ciphertext=AccessCode.objects.get(job=other).ciphertext
    )
    page = reverse("intake:show_code", args=[mine.pk])
    answer = bench.post(page, {"reason": "Testing"})
    assert "belongs to another job" in answer.text and "Marmalade" not in answer.text


def test_a_job_without_a_code_says_so(bench):
    page = reverse("intake:show_code", args=[make.job().pk])
    assert "No access code is stored" in bench.get(page).text


def test_the_counter_can_store_a_code_but_not_see_it(client, db):
    client.force_login(make.user("counter"))
    job = job_with_code()
    page = reverse("intake:show_code", args=[job.pk])
    assert client.post(page, {"reason": "Curious"}).status_code == 403
    assert AccessCode.objects.get(job=job).ciphertext is not None
    assert "Marmalade" not in client.get(reverse("intake:booked", args=[job.pk])).text
