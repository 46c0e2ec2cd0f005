"""One press: invoice, payment, warranty, and the job is completed."""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse

from billing.handover.actions import hand_over
from billing.invoices.models import Invoice, Payment
from shopdesk.errors import RefusedError, StaleError
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    return client


def address(job):
    return reverse("handover:hand_over", args=[job.pk])


def filled(job, **facts):
    job.refresh_from_db()
    return {
        "amount": "70.80",
        "how": "counter",
        "means": "card",
        "key": str(uuid4()),
        "version": job.version,
    } | facts


def test_all_happens_at_once():
    job = till.ready()
    invoice = hand_over(
        job,
        version=None,
        stamp=make.stamp(on=date(2026, 3, 5)),
        paid=Decimal("70.80"),
        means="cash",
        key=uuid4(),
    )
    job.refresh_from_db()
    assert (job.state, job.handed_over_on) == ("handed_over", date(2026, 3, 5))
    assert job.repairs.get().warranty_until == date(2026, 9, 1)  # 180 days on
    assert invoice.balance == 0


def test_paying_too_much_leaves_the_device_here():
    job = till.ready()
    with pytest.raises(RefusedError, match="balance due is"):
        hand_over(
            job,
            version=None,
            stamp=make.stamp(on=till.TODAY),
            paid=Decimal(71),
            means="cash",
            key=uuid4(),
        )
    job.refresh_from_db()
    assert job.state == "ready" and not Invoice.objects.exists()
    assert job.repairs.get().warranty_until is None


def test_a_job_at_the_bench_stays():
    job = till.accepted().job
    with pytest.raises(RefusedError, match="is approved. Close the job at the bench"):
        hand_over(job, version=None, stamp=make.stamp(on=till.TODAY))
    assert not Invoice.objects.exists()


def test_a_job_that_changed_meanwhile_is_looked_at_again():
    job = till.ready()
    with pytest.raises(StaleError):
        hand_over(job, version=job.version - 1, stamp=make.stamp(on=till.TODAY))
    job.refresh_from_db()
    assert job.state == "ready" and not Invoice.objects.exists()


def test_the_screen_tells_it_in_plain_words(desk):
    job = till.ready()
    page = desk.get(address(job)).content.decode()
    for words in (
        "Charging socket loose",
        "Lasting mend",
        "180 days",
        "70.80",
        "Warranty terms",
    ):
        assert words in page


def test_the_press_hands_back_and_shows_the_papers(desk):
    job = till.ready()
    page = desk.post(address(job), filled(job), follow=True).content.decode()
    invoice = Invoice.objects.get()
    assert reverse("invoices:paper", args=[invoice.pk]) in page
    assert reverse("handover:certificate", args=[job.pk]) in page
    assert invoice.balance == 0 and invoice.payments.get().taken_by.role == "counter"


def test_the_same_press_twice_hands_back_once(desk):
    job = till.ready()
    form = filled(job)
    desk.post(address(job), form)
    page = desk.post(address(job), form, follow=True).content.decode()
    assert "already handed over" in page
    assert Invoice.objects.count() == Payment.objects.count() == 1


def test_a_stale_press_is_refused_and_the_next_one_works(desk):
    job = till.ready()
    form = filled(job, version=job.version - 1, amount="12.34")
    page = desk.post(address(job), form)
    assert "changed this job" in page.content.decode()
    assert 'value="12.34"' in page.content.decode()
    assert not Invoice.objects.exists()
    version = page.context["form"]["version"].value()
    desk.post(address(job), form | {"version": version})
    assert Invoice.objects.count() == 1


def test_it_may_be_paid_later(desk):
    job = till.ready()
    desk.post(address(job), filled(job, amount="", means=""))
    assert Invoice.objects.get().balance == Decimal("70.80")
    assert not Payment.objects.exists()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("1e5", "such as 1234.50"),
        ("NaN", "such as 1234.50"),
        ("1.000,50", "such as 1234.50"),
        ("-5", "Enter at least 0"),
        ("9" * 400, "such as 1234.50"),
        ("70.801", "at most 2 decimal places"),
        ("70.81", "The balance due is"),
        ("999999999", "The balance due is"),
    ],
)
def test_money_that_makes_no_sense_is_told_and_kept(desk, typed, said):
    job = till.ready()
    page = desk.post(address(job), filled(job, amount=typed))
    assert page.status_code == 200
    assert said in page.content.decode() and typed in page.content.decode()
    job.refresh_from_db()
    assert job.state == "ready" and not Invoice.objects.exists()


def test_money_without_its_means_is_asked_for(desk):
    job = till.ready()
    page = desk.post(address(job), filled(job, means="")).content.decode()
    assert "Select a payment method" in page and not Invoice.objects.exists()


def test_minus_nothing_is_nothing(desk):
    job = till.ready()
    desk.post(address(job), filled(job, amount="-0"))
    assert Invoice.objects.get().payments.count() == 0


@pytest.mark.parametrize("act", ["get", "post"])
def test_a_job_that_is_not_ready_is_refused_in_a_sentence(desk, act):
    job = till.accepted().job
    answer = getattr(desk, act)(address(job))
    assert answer.status_code == 409
    assert "Close the job at the bench" in answer.content.decode()
    assert not Invoice.objects.exists()


def test_no_payment_is_asked_for_a_warranty_repair(desk):
    job = till.warranty_job()
    page = desk.get(address(job)).content.decode()
    assert "No payment due" in page
    desk.post(address(job), filled(job, amount="0", means=""))
    job.refresh_from_db()
    assert job.state == "handed_over"
    assert Invoice.objects.get().gross == 0


def test_a_warranty_repair_keeps_the_rest_of_the_old_warranty(desk):
    job = till.warranty_job()
    page = desk.get(address(job)).content.decode()
    desk.post(address(job), filled(job, amount="0", means=""))
    until = job.repairs.get().warranty_until
    assert f'until <span class="day">{until:%-d %b %Y}' in page


def test_a_swollen_battery_is_called_out_before_the_post(desk):
    posted = till.ready(came_by="post", has_swollen_battery=True)
    collected = till.ready(has_swollen_battery=True)
    assert "Do not ship it." in desk.get(address(posted)).content.decode()
    assert "Do not ship it." not in desk.get(address(collected)).content.decode()


def test_the_bench_does_not_hand_over(client):
    client.force_login(make.user(Role.BENCH))
    assert client.get(address(till.ready())).status_code == 403
