"""Recommendations: which fix to stop offering, and what instead."""

from datetime import timedelta

import pytest
from django.utils import timezone

from repairs.comebacks.advice import ActionKind
from repairs.comebacks.scope import Scope
from repairs.faults.fix_types import STOPGAP
from repairs.month.report import month_report
from repairs.stock.models import Supplier
from shopdesk.shop.models import Shop
from tests import make
from tests.papers import text_of

pytestmark = [pytest.mark.django_db, pytest.mark.once]
MONTH, TABLE, PDF = "/comebacks/month/", "/comebacks/", "/comebacks/comebacks.pdf"


def ago(n):
    return timezone.localdate() - timedelta(days=n)


def page_text(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def done(fault, fix, *, held=0, back=0, delivery=None):
    """Repairs long ago; `back` of them came back."""
    for n in range(held + back):
        on = ago(400 - n)
        came = on + timedelta(days=30) if n < back else None
        repair = make.past_repair(fault, fix, on=on, back_on=came)
        if delivery:
            repair.parts_used.create(part=delivery.part, delivery=delivery, quantity=1)


def fixes(*codes, **facts):
    fault = make.fault()
    return fault, *(make.fix(fault, code=code, **facts) for code in codes)


def recommendations():
    scope = Scope(as_of=timezone.localdate(), within=90)
    report = month_report(scope, shop=Shop.current())
    return {one.row.fix: one for one in report.recommendations}


def test_a_reliable_fix_is_recommended_instead(owner):
    fault, bad, good = fixes("BAD", "GOOD")
    done(fault, bad, held=10, back=10)
    done(fault, good, held=40)
    shown = recommendations()
    assert list(shown) == ["BAD"]
    assert (shown["BAD"].kind, shown["BAD"].other.fix) == (ActionKind.OTHER_FIX, "GOOD")
    assert shown["BAD"].probability > 0.99
    text = page_text(owner.get(MONTH))
    assert 'Offer <span class="code">GOOD</span> instead</strong>' in text
    assert "0 of 40 of its repairs came back" in text
    assert "recorded as lasting; 10 of 20 repairs came back" in text


def test_a_stopgap_with_too_many_comebacks_stays_a_stopgap(owner):
    fault, bad, good = fixes("BAD", "GOOD")
    bad.fix_type = STOPGAP
    bad.save()
    done(fault, bad, held=10, back=10)
    done(fault, good, held=40)
    text = page_text(owner.get(MONTH))
    assert 'Offer <span class="code">GOOD</span> first</strong>' in text
    assert "and this one only as a stopgap" in text


def test_a_fix_with_too_few_repairs_is_not_recommended(owner):
    fault, bad, new = fixes("BAD", "NEW")
    done(fault, bad, held=10, back=10)
    done(fault, new, held=2)
    done(*fixes("ELSE"), held=60)
    shown = recommendations()["BAD"]
    assert (shown.kind, shown.other.fix) == (ActionKind.NONE_BETTER, "NEW")
    assert shown.other.has_too_few_repairs
    text = page_text(owner.get(MONTH))
    assert "Offer it only as a stopgap" in text
    assert "does not have enough repairs (0 of 2 came back)" in text
    assert 'Offer <span class="code">NEW' not in text


def test_a_fix_with_too_many_comebacks_is_not_recommended(owner):
    fault, worst, bad = fixes("WORST", "BAD")
    done(fault, worst, back=40)
    done(fault, bad, held=30, back=20)
    shown = recommendations()
    assert {one.kind for one in shown.values()} == {ActionKind.NONE_BETTER}
    assert shown["WORST"].other.fix == "BAD"
    assert "no other fix is clearly better" in page_text(owner.get(MONTH))


def test_the_only_fix_of_a_fault_is_recommended_as_a_stopgap(owner):
    done(*fixes("BAD"), held=10, back=10)
    done(*fixes("GOOD"), held=40)
    assert recommendations()["BAD"].kind is ActionKind.NO_OTHER
    assert "no other fix was done here for this fault" in page_text(owner.get(MONTH))


def test_the_type_of_a_reliable_stopgap_can_be_changed(owner):
    fault, glue = fixes("GLUE", fix_type=STOPGAP)
    done(fault, glue, held=60)
    done(*fixes("BAD"), held=10, back=10)
    assert list(recommendations()) == ["BAD", "GLUE"]
    assert "You can change its type to lasting." in page_text(owner.get(MONTH))


def test_a_bad_delivery_is_suspected_before_its_fix(owner):
    fault, fix = fixes("NEW-PART")
    supplier = Supplier.objects.create(name="Oddments & Reels")
    part = make.part("JCK-1")
    fine = make.delivery(part, 99, lot="A1", supplier=supplier)
    bad = make.delivery(part, 99, lot="B2", supplier=supplier)
    done(fault, fix, held=30, delivery=fine)
    done(fault, fix, held=4, back=12, delivery=bad)
    done(*fixes("ELSE"), held=60, back=2)
    shown = recommendations()["NEW-PART"]
    assert (shown.suspect.name, shown.suspected) == ("B2 of JCK-1", 12)
    text = page_text(owner.get(MONTH))
    assert "Stop using delivery" in text
    assert "12 of these 12 comebacks had a part from it" in text
    assert "Offer it only as a stopgap" not in text
    assert shown.suspect.url.replace("&", "&amp;") in text


def test_comebacks_without_the_bad_delivery_count_against_the_fix():
    fault, fix = fixes("BAD")
    part = make.part("JCK-1")
    supplier = Supplier.objects.create(name="Oddments & Reels")
    bad = make.delivery(part, 99, lot="B2", supplier=supplier)
    done(fault, fix, held=20, back=20)
    other_fault, other = fixes("GOOD")
    done(other_fault, other, held=200)
    done(other_fault, other, back=8, delivery=bad)
    done(fault, fix, back=2, delivery=bad)
    assert recommendations()["BAD"].suspect is None


def test_no_recommendation_does_not_mean_reliable(owner):
    fault, fix = fixes("NEW")
    done(fault, fix, held=2)
    text = page_text(owner.get(MONTH))
    assert "No fix needs a change." in text
    assert "1 of 1 pairs do not have enough repairs for a verdict" in text
    assert "fixes not listed here are not necessarily reliable" in text


def test_filtered_reports_have_no_recommendations(owner):
    of = make.device()
    fault, bad = fixes("BAD")
    for n in range(20):
        on = ago(400 - n)
        make.past_repair(fault, bad, on=on, back_on=on + timedelta(days=9), of=of)
    assert "What to change" in page_text(owner.get(MONTH))
    assert "What to change" not in page_text(owner.get(MONTH, {"kind": "laptop"}))


def test_many_recommendations_are_folded(owner):
    for n in range(14):
        done(*fixes(f"BAD-{n}"), held=10, back=12)
    done(*fixes("GOOD"), held=400)
    shown = recommendations()
    assert len(shown) == 14
    text = page_text(owner.get(MONTH))
    assert "<summary>4 more</summary>" in text
    for fix in shown:
        assert f"/ {fix}</a>" in text


def test_the_document_has_the_recommendations_and_the_table_links_to_them(owner):
    fault, bad, good = fixes("BAD", "GOOD")
    done(fault, bad, held=10, back=10)
    done(fault, good, held=40)
    text = " ".join(text_of(owner.get(PDF).content, "-raw").split())
    assert "What to change" in text
    assert "Offer GOOD instead: 0 of 40 of its repairs came back" in text
    assert '#recommendations">What to change</a>' in page_text(owner.get(TABLE))
