"""What the month opens with: the action, its value a month, and its button."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import Scope
from repairs.faults.fix_types import STOPGAP
from repairs.month.report import month_report
from repairs.month.top_advice import MAX_FIRST, first_advice
from repairs.stock.models import Supplier
from shopdesk.shop.models import Shop
from tests import make
from tests.papers import text_of

pytestmark = [pytest.mark.django_db, pytest.mark.once]
MONTH = "/comebacks/month/"


def done(fault, fix, *, held=0, back=0, delivery=None):
    """Repairs of the last 365 days, one every few days; `back` of them came back."""
    today, n = timezone.localdate(), held + back
    for k in range(n):
        on = today - timedelta(days=364 - k * 200 // n)
        came = on + timedelta(days=30) if k < back else None
        repair = make.past_repair(fault, fix, on=on, back_on=came)
        if delivery:
            repair.parts_used.create(part=delivery.part, delivery=delivery, quantity=1)


def fixes(*codes, **facts):
    fault = make.fault()
    return fault, *(make.fix(fault, code=code, **facts) for code in codes)


def advice():
    shop = Shop.current()
    scope = Scope(as_of=timezone.localdate(), within=90)
    report = comeback_report(scope, shop=shop)
    return report, first_advice(report, month_report(scope, shop=shop), shop=shop)


def test_a_cheap_bad_fix_is_replaced_and_the_value_is_jobs_times_profit(owner):
    make.shop(hourly_rate=Decimal(60), hourly_cost=Decimal(30))
    fault, bad, good = fixes("BAD", "GOOD", minutes=60)
    done(fault, bad, held=10, back=14)
    done(fault, good, held=40)
    report, (first,) = advice()
    row = report.row_of(fault.pk, bad.pk)
    other = report.row_of(fault.pk, good.pk)
    assert (first.kind, first.new_type) == ("replace", STOPGAP)
    # Price and cost of both fixes are the same, so the comebacks make the difference.
    gain = row.risk * float(row.mean_rework_cost)
    gain -= other.risk * float(other.mean_rework_cost)
    assert float(first.per_job) == pytest.approx(gain, abs=0.02)
    assert float(first.jobs) == pytest.approx(24 / 12)
    assert first.value == round(first.per_job * first.jobs, 2)
    text = " ".join(owner.get(MONTH).content.decode().split())
    assert "Stop offering “" in text
    assert f"about <bdi>{first.value}" in text or str(first.value) in text
    assert "more profit per job after comebacks" in text


def test_the_button_records_the_type_and_the_advice_then_only_opens_the_pair(owner):
    fault, bad, good = fixes("BAD", "GOOD")
    done(fault, bad, held=10, back=14)
    done(fault, good, held=40)
    address = reverse("knowledge:set_fix_type", args=[fault.pk, bad.pk])
    assert f'action="{address}"' in owner.get(MONTH).content.decode()
    owner.post(address, {"fix_type": "stopgap"})
    bad.refresh_from_db()
    assert bad.fix_type == STOPGAP
    _, (first,) = advice()
    assert first.new_type == ""
    assert f'action="{address}"' not in owner.get(MONTH).content.decode()


def test_a_bad_delivery_in_stock_comes_with_its_button(owner):
    fault, fix = fixes("NEW-PART")
    supplier = Supplier.objects.create(name="Oddments & Reels")
    part = make.part("JCK-1")
    fine = make.delivery(part, 99, lot="A1", supplier=supplier)
    bad = make.delivery(part, 99, lot="B2", supplier=supplier)
    done(fault, fix, held=30, delivery=fine)
    done(fault, fix, held=4, back=12, delivery=bad)
    done(*fixes("ELSE"), held=60, back=2)
    _, shown = advice()
    assert [one.kind for one in shown] == ["delivery"]  # the fix may be good
    assert shown[0].delivery == bad
    address = reverse("stock:block", args=[bad.pk])
    assert f'action="{address}"' in owner.get(MONTH).content.decode()
    owner.post(address, {f"block{bad.pk}-reason": "too many comebacks"})
    bad.refresh_from_db()
    assert bad.is_blocked
    assert "delivery" not in [one.kind for one in advice()[1]]


def test_at_most_five_come_first_by_value_and_the_paper_has_them_too(owner):
    for n in range(MAX_FIRST + 2):
        done(*fixes(f"BAD-{n}"), held=10, back=10 + n)
    done(*fixes("GOOD"), held=200)
    fault, glue = fixes("GLUE", fix_type=STOPGAP)
    done(fault, glue, held=60)
    _, shown = advice()
    assert len(shown) == MAX_FIRST
    values = [one.value for one in shown]
    assert values == sorted(values, reverse=True)
    pdf = owner.get("/comebacks/comebacks.pdf").content
    assert "a month" in text_of(pdf, "-raw")
