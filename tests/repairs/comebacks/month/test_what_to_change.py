"""The owner reads what to change: which fix to stop offering, and what instead."""

from datetime import timedelta

import pytest
from django.utils import timezone

from repairs.comebacks.advice import Way
from repairs.comebacks.month.queries import month_context
from repairs.faults.declared import STOPGAP
from repairs.stock.models import Supplier
from shopdesk.shop.models import Shop
from tests import make
from tests.papers import text_of

pytestmark = pytest.mark.django_db
MONTH, TABLE, PDF = "/comebacks/month/", "/comebacks/", "/comebacks/comebacks.pdf"


def ago(n):
    return timezone.localdate() - timedelta(days=n)


def words(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def done(fault, fix, *, held=0, back=0, delivery=None):
    """Repairs long ago, so many of which came back."""
    for n in range(held + back):
        on = ago(400 - n)
        came = on + timedelta(days=30) if n < back else None
        repair = make.past_repair(fault, fix, on=on, back_on=came)
        if delivery:
            repair.parts_used.create(part=delivery.part, delivery=delivery, quantity=1)


def fixes(*codes, **facts):
    fault = make.fault()
    return fault, *(make.fix(fault, code=code, **facts) for code in codes)


def advice():
    context = month_context(as_of=timezone.localdate(), within=90, shop=Shop.current())
    return {one.row.fix: one for one in context["month"].advice}


def test_a_fix_that_holds_is_offered_in_place_of_one_that_comes_back(owner):
    fault, bad, good = fixes("BAD", "GOOD")
    done(fault, bad, held=10, back=10)
    done(fault, good, held=40)
    told = advice()
    assert list(told) == ["BAD"]
    assert (told["BAD"].way, told["BAD"].other.fix) == (Way.OTHER, "GOOD")
    assert told["BAD"].chance > 0.99
    said = words(owner.get(MONTH))
    assert 'Offer <span class="code">GOOD</span> instead</strong>' in said
    assert "of those 0 of 40 came back" in said
    assert "declared lasting, 10 of 20 came back so far" in said


def test_a_declared_stopgap_that_comes_back_is_what_it_is(owner):
    fault, bad, good = fixes("BAD", "GOOD")
    bad.declared = STOPGAP
    bad.save()
    done(fault, bad, held=10, back=10)
    done(fault, good, held=40)
    said = words(owner.get(MONTH))
    assert 'Offer <span class="code">GOOD</span> first</strong>' in said
    assert "only as the stopgap it is" in said


def test_a_fix_done_too_few_times_is_not_offered_however_likely_it_looks(owner):
    fault, bad, new = fixes("BAD", "NEW")
    done(fault, bad, held=10, back=10)
    done(fault, new, held=2)
    done(*fixes("ELSE"), held=60)
    told = advice()["BAD"]
    assert (told.way, told.other.fix) == (Way.UNSURE, "NEW")
    assert told.other.is_open
    said = words(owner.get(MONTH))
    assert "Offer it only as a stopgap" in said
    assert "too few of those were done to tell (0 of 2 came back)" in said
    assert 'Offer <span class="code">NEW' not in said


def test_one_that_comes_back_too_is_not_offered(owner):
    fault, worst, bad = fixes("WORST", "BAD")
    done(fault, worst, back=40)
    done(fault, bad, held=30, back=20)
    told = advice()
    assert {one.way for one in told.values()} == {Way.UNSURE}
    assert told["WORST"].other.fix == "BAD"
    assert "no other fix surely holds better" in words(owner.get(MONTH))


def test_the_only_fix_of_a_fault_is_offered_as_a_stopgap(owner):
    done(*fixes("BAD"), held=10, back=10)
    done(*fixes("GOOD"), held=40)
    assert advice()["BAD"].way is Way.ALONE
    assert "no other fix was done here for this fault" in words(owner.get(MONTH))


def test_a_stopgap_that_holds_may_be_called_lasting(owner):
    fault, glue = fixes("GLUE", declared=STOPGAP)
    done(fault, glue, held=60)
    done(*fixes("BAD"), held=10, back=10)
    assert list(advice()) == ["BAD", "GLUE"]
    assert "You may call it lasting." in words(owner.get(MONTH))


def test_a_bad_delivery_is_suspected_before_the_fix_it_went_into(owner):
    fault, fix = fixes("NEW-PART")
    supplier = Supplier.objects.create(name="Oddments & Reels")
    part = make.part("JCK-1")
    fine = make.delivery(part, 99, lot="A1", supplier=supplier)
    bad = make.delivery(part, 99, lot="B2", supplier=supplier)
    done(fault, fix, held=30, delivery=fine)
    done(fault, fix, held=4, back=12, delivery=bad)
    done(*fixes("ELSE"), held=60, back=2)
    told = advice()["NEW-PART"]
    assert (told.suspect.name, told.suspected) == ("B2 of JCK-1", 12)
    said = words(owner.get(MONTH))
    assert "First use no more of delivery" in said
    assert "12 of these 12 comebacks had a part of it" in said
    assert "Offer it only as a stopgap" not in said
    assert told.suspect.evidence.replace("&", "&amp;") in said


def test_comebacks_without_the_bad_delivery_are_the_fixs_own():
    fault, fix = fixes("BAD")
    part = make.part("JCK-1")
    supplier = Supplier.objects.create(name="Oddments & Reels")
    bad = make.delivery(part, 99, lot="B2", supplier=supplier)
    done(fault, fix, held=20, back=20)
    other_fault, other = fixes("GOOD")
    done(other_fault, other, held=200)
    done(other_fault, other, back=8, delivery=bad)
    done(fault, fix, back=2, delivery=bad)
    assert advice()["BAD"].suspect is None


def test_nothing_to_change_is_no_praise_of_what_was_seldom_done(owner):
    fault, fix = fixes("NEW")
    done(fault, fix, held=2)
    said = words(owner.get(MONTH))
    assert "No fix is seen to come back so often that it should change." in said
    assert "1 of 1 pairs of a fault and a fix were done too few times to tell" in said
    assert "that it is not named here does not make it good" in said


def test_some_of_the_repairs_are_no_ground_for_a_change(owner):
    of = make.device()
    fault, bad = fixes("BAD")
    for n in range(20):
        on = ago(400 - n)
        make.past_repair(fault, bad, on=on, back_on=on + timedelta(days=9), of=of)
    assert "What to change" in words(owner.get(MONTH))
    assert "What to change" not in words(owner.get(MONTH, {"kind": "laptop"}))


def test_many_are_folded_and_none_is_lost(owner):
    for n in range(14):
        done(*fixes(f"BAD-{n}"), held=10, back=12)
    done(*fixes("GOOD"), held=400)
    told = advice()
    assert len(told) == 14
    said = words(owner.get(MONTH))
    assert "<summary>4 more</summary>" in said
    for fix in told:
        assert f"/ {fix}</a>" in said


def test_the_paper_says_the_same_and_the_table_leads_there(owner):
    fault, bad, good = fixes("BAD", "GOOD")
    done(fault, bad, held=10, back=10)
    done(fault, good, held=40)
    text = " ".join(text_of(owner.get(PDF).content, "-raw").split())
    assert "What to change" in text
    assert "Offer GOOD instead: of those 0 of 40 came back" in text
    assert '#advice">What to change</a>' in words(owner.get(TABLE))
