"""The owner has the fault book call a fix what its record says it is."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.comebacks.actions import LONGEST_NOTES
from shopdesk.staff.models import Kind
from tests import make

pytestmark = pytest.mark.django_db


def ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def owner(client):
    client.force_login(
        make.user(Kind.OWNER, name="Maren Tollgate"),
        "django.contrib.auth.backends.ModelBackend",
    )
    return client


@pytest.fixture
def pair():
    fault = make.fault(code="PWR-JACK")
    fix = make.fix(fault, code="RESOLDER", notes="Needs a hot iron.")
    for n in range(9):
        back = ago(180 - n) if n < 6 else None
        make.past_repair(fault, fix, on=ago(200 - n), back_on=back)
    return fault, fix


def door(pair):
    return reverse("comebacks:declare", args=[pair[0].pk, pair[1].pk])


def words(answer):
    return " ".join(answer.content.decode().split())


def test_a_fix_is_called_a_stopgap_and_its_notes_say_who_when_and_why(owner, pair):
    answer = owner.post(door(pair), {"declared": "stopgap"}, follow=True)
    assert "RESOLDER: stopgap. The fault book calls it so from now on." in words(answer)
    fix = pair[1]
    fix.refresh_from_db()
    assert fix.declared == "stopgap"
    assert fix.notes == (
        "Needs a hot iron.\n"
        f"{timezone.localdate()}: usually a stopgap from now on, says Maren Tollgate;"
        " for PWR-JACK 6 of 9 came back."
    )
    assert "by the book now stopgap" in words(answer)
    assert "Call it lasting from now on" in words(answer)


def test_what_was_declared_at_closing_stays_and_so_does_the_verdict(owner, pair):
    owner.post(door(pair), {"declared": "stopgap"})
    assert {r.declared for r in pair[1].repairs.all()} == {"lasting"}
    page = owner.get(reverse("comebacks:pair", args=[pair[0].pk, pair[1].pk]))
    assert page.context["row"].flag == "acts as a stopgap"


def test_it_can_be_called_lasting_again(owner, pair):
    owner.post(door(pair), {"declared": "stopgap"})
    owner.post(door(pair), {"declared": "lasting"})
    pair[1].refresh_from_db()
    assert pair[1].declared == "lasting"
    assert pair[1].notes.count("from now on, says") == 2


def test_the_same_said_twice_is_written_once(owner, pair):
    for _ in range(2):
        answer = owner.post(door(pair), {"declared": "stopgap"}, follow=True)
    pair[1].refresh_from_db()
    assert pair[1].notes.count("from now on") == 1
    assert "calls it so already" in words(answer)


@pytest.mark.parametrize("said", [{}, {"declared": "nonsense"}, {"declared": ""}])
def test_anything_else_is_refused_and_changes_nothing(owner, pair, said):
    answer = owner.post(door(pair), said, follow=True)
    assert "Say whether the fix is lasting or a stopgap." in words(answer)
    pair[1].refresh_from_db()
    assert (pair[1].declared, pair[1].notes) == ("lasting", "Needs a hot iron.")


def test_notes_without_room_for_the_reason_are_not_cut(owner, pair):
    full = "x" * (LONGEST_NOTES - 5)
    pair[1].notes = full
    pair[1].save()
    answer = owner.post(door(pair), {"declared": "stopgap"}, follow=True)
    assert "The notes of RESOLDER are full" in words(answer)
    pair[1].refresh_from_db()
    assert (pair[1].declared, pair[1].notes) == ("lasting", full)


def test_looking_changes_nothing(owner, pair):
    assert owner.get(door(pair)).status_code == 405
    pair[1].refresh_from_db()
    assert pair[1].declared == "lasting"


@pytest.mark.parametrize("kind", [Kind.COUNTER, Kind.BENCH])
def test_only_the_owner_declares_from_here(client, pair, kind):
    client.force_login(make.user(kind), "django.contrib.auth.backends.ModelBackend")
    assert client.post(door(pair), {"declared": "stopgap"}).status_code == 403
    pair[1].refresh_from_db()
    assert pair[1].declared == "lasting"


# --- what the counter and the bench see ------------------------------------------


@pytest.mark.parametrize("kind", list(Kind))
def test_the_verdict_of_a_pair_is_a_line_with_its_counts(client, pair, kind):
    client.force_login(make.user(kind), "django.contrib.auth.backends.ModelBackend")
    address = reverse("comebacks:verdict", args=[pair[0].pk, pair[1].pk])
    line = words(client.get(address, headers={"HX-Request": "true"}))
    assert "comes back" in line
    assert "6 of 9 came back within 90 days" in line
    assert "acts as a stopgap" in line
    assert "<html" not in line
    whole = client.get(address)
    assert whole.url == reverse("comebacks:fault_record", args=[pair[0].pk])


def test_a_pair_never_done_has_no_verdict(owner, pair):
    other = make.fix(pair[0])
    address = reverse("comebacks:verdict", args=[pair[0].pk, other.pk])
    line = words(owner.get(address, headers={"HX-Request": "true"}))
    assert "no history yet" in line
    missing = reverse("comebacks:verdict", args=[pair[0].pk, 10**9])
    assert owner.get(missing, headers={"HX-Request": "true"}).status_code == 404


def test_the_counter_asks_for_the_verdict_of_each_earlier_repair(owner, pair):
    fault, fix = pair
    device = fix.repairs.last().job.device
    desk = owner.post(
        reverse("intake:book_in"),
        {"step": f"device:{device.pk}"},
        headers={"HX-Request": "true"},
    )
    address = reverse("comebacks:verdict", args=[fault.pk, fix.pk])
    assert f'hx-get="{address}"' in words(desk)


def test_the_bench_asks_for_the_record_of_the_fault_it_works_on(owner, pair):
    job = make.job()
    make.repair(job, pair[0])
    page = words(owner.get(job.get_absolute_url()))
    address = reverse("comebacks:fault_record", args=[pair[0].pk])
    assert f'hx-get="{address}"' in page
    record = words(owner.get(address, headers={"HX-Request": "true"}))
    assert "6 of 9</a> within 90 days" in record
