"""The owner changes the type of a fix; all staff see its verdict."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.comebacks.actions import MAX_NOTES
from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db


def ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def owner(client):
    client.force_login(
        make.user(Role.OWNER, name="Maren Tollgate"),
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


def url(pair):
    return reverse("knowledge:set_fix_type", args=[pair[0].pk, pair[1].pk])


def page_text(answer):
    return " ".join(answer.content.decode().split())


def test_changing_the_type_adds_who_when_and_why_to_the_notes(owner, pair):
    answer = owner.post(url(pair), {"fix_type": "stopgap"}, follow=True)
    assert "Stopgap: RESOLDER now has this type." in page_text(answer)
    fix = pair[1]
    fix.refresh_from_db()
    assert fix.fix_type == "stopgap"
    assert fix.notes == (
        "Needs a hot iron.\n"
        f"{timezone.localdate()}: type changed to a stopgap by Maren Tollgate;"
        " comebacks for PWR-JACK: 6 of 9 repairs."
    )
    assert "now stopgap in the fault book" in page_text(answer)
    assert "Change type to lasting" in page_text(answer)


def test_recorded_types_and_the_verdict_stay(owner, pair):
    owner.post(url(pair), {"fix_type": "stopgap"})
    assert {r.fix_type for r in pair[1].repairs.all()} == {"lasting"}
    page = owner.get(reverse("knowledge:pair", args=[pair[0].pk, pair[1].pk]))
    assert page.context["row"].mismatch == "performs like a stopgap"


def test_the_type_can_be_changed_back(owner, pair):
    owner.post(url(pair), {"fix_type": "stopgap"})
    owner.post(url(pair), {"fix_type": "lasting"})
    pair[1].refresh_from_db()
    assert pair[1].fix_type == "lasting"
    assert pair[1].notes.count("type changed to") == 2


def test_the_same_type_twice_is_noted_once(owner, pair):
    for _ in range(2):
        answer = owner.post(url(pair), {"fix_type": "stopgap"}, follow=True)
    pair[1].refresh_from_db()
    assert pair[1].notes.count("type changed to") == 1
    assert "RESOLDER already has this type." in page_text(answer)


@pytest.mark.parametrize("text", [{}, {"fix_type": "nonsense"}, {"fix_type": ""}])
def test_any_other_type_is_refused_and_changes_nothing(owner, pair, text):
    answer = owner.post(url(pair), text, follow=True)
    assert "Select lasting or stopgap." in page_text(answer)
    pair[1].refresh_from_db()
    assert (pair[1].fix_type, pair[1].notes) == ("lasting", "Needs a hot iron.")


def test_full_notes_are_not_cut(owner, pair):
    full = "x" * (MAX_NOTES - 5)
    pair[1].notes = full
    pair[1].save()
    answer = owner.post(url(pair), {"fix_type": "stopgap"}, follow=True)
    assert "The notes of RESOLDER are full" in page_text(answer)
    pair[1].refresh_from_db()
    assert (pair[1].fix_type, pair[1].notes) == ("lasting", full)


def test_a_get_request_changes_nothing(owner, pair):
    assert owner.get(url(pair)).status_code == 405
    pair[1].refresh_from_db()
    assert pair[1].fix_type == "lasting"


@pytest.mark.parametrize("kind", [Role.COUNTER, Role.BENCH])
def test_only_the_owner_changes_the_type_here(client, pair, kind):
    client.force_login(make.user(kind), "django.contrib.auth.backends.ModelBackend")
    assert client.post(url(pair), {"fix_type": "stopgap"}).status_code == 403
    pair[1].refresh_from_db()
    assert pair[1].fix_type == "lasting"


# --- what the counter and the bench see ------------------------------------------


@pytest.mark.parametrize("kind", list(Role))
def test_the_verdict_of_a_pair_is_a_line_with_its_counts(client, pair, kind):
    client.force_login(make.user(kind), "django.contrib.auth.backends.ModelBackend")
    address = reverse("knowledge:verdict", args=[pair[0].pk, pair[1].pk])
    line = page_text(client.get(address, headers={"HX-Request": "true"}))
    assert "6 of 9 came back within 90 days" in line
    assert "lasting" in line and "performs like a stopgap" in line
    as_stopgap = {"recorded": "stopgap"}
    line = page_text(client.get(address, as_stopgap, headers={"HX-Request": "true"}))
    assert "stopgap" in line and "too many comebacks" in line
    assert "performs" not in line
    assert "<html" not in line
    whole = client.get(address)
    assert whole.url == reverse("knowledge:fault_record", args=[pair[0].pk])


def test_a_pair_without_repairs_has_no_verdict(owner, pair):
    other = make.fix(pair[0])
    address = reverse("knowledge:verdict", args=[pair[0].pk, other.pk])
    line = page_text(owner.get(address, headers={"HX-Request": "true"}))
    assert "no history yet" in line
    missing = reverse("knowledge:verdict", args=[pair[0].pk, 10**9])
    assert owner.get(missing, headers={"HX-Request": "true"}).status_code == 404


def test_the_counter_loads_the_verdict_of_each_earlier_repair(owner, pair):
    fault, fix = pair
    device = fix.repairs.last().job.device
    desk = owner.post(
        reverse("intake:book_in"),
        {"step": f"device:{device.pk}"},
        headers={"HX-Request": "true"},
    )
    address = reverse("knowledge:verdict", args=[fault.pk, fix.pk])
    assert f'hx-get="{address}?recorded=lasting"' in page_text(desk)


def test_the_job_page_loads_the_record_of_its_fault(owner, pair):
    job = make.job()
    repair = make.repair(job, pair[0])
    page = page_text(owner.get(job.get_absolute_url()))
    address = reverse("knowledge:fault_record", args=[pair[0].pk])
    assert f'hx-get="{address}?repair={repair.pk}"' in page
    asked = {"repair": repair.pk}
    record = page_text(owner.get(address, asked, headers={"HX-Request": "true"}))
    assert "6 of 9</a> within 90 days" in record
    # Chosen with one press; without a repair there is nothing to choose for.
    choose = reverse("bench:select_fix", args=[repair.pk])
    assert choose in record and choose not in page_text(owner.get(address))
