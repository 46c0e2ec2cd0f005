"""Two entries of the fault book become one, and nothing is lost or counted twice."""

from datetime import timedelta

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils import timezone

from billing.quotes import drafting, sending
from billing.quotes.models import Quote, QuoteLine, QuoteOption
from repairs.comebacks.standing import standing, verdicts_of
from repairs.diagnosis import learning
from repairs.diagnosis.book_merge import (
    fault_merge,
    fix_merge,
    merge_faults,
    merge_fixes,
)
from repairs.diagnosis.models import LearntCase
from repairs.faults.models import Check, Fault, Fix, Symptom
from repairs.jobs import states
from repairs.jobs.models import Comeback, Repair
from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action
from tests import make
from tests.shopdesk.trail.entries import entries_of

pytestmark = pytest.mark.django_db


def ago(days):
    return timezone.localdate() - timedelta(days=days)


@pytest.fixture
def shop():
    return make.shop()


@pytest.fixture
def twins(shop):
    """One fault that is in the fault book twice, each with jobs, a fix and more."""
    kept = make.fault("PWR-A", name="Socket loose", notes="Look under the shield.")
    gone = make.fault("PWR-B", name="Jack loose", area="power", notes="Wiggle it.")
    fix, other = make.fix(kept, code="NEW"), make.fix(gone, code="SOLDER")
    gone.symptoms.add(Symptom.objects.create(name="flickers"))
    gone.board_notes.create(model=make.device_model(), text="Lift the shield.")
    gone.checks.add(Check.objects.create(name="Plug moved", minutes=2))
    for n in range(3):
        make.past_repair(kept, fix, on=ago(300 - n))
        make.past_repair(gone, other, on=ago(200 - n), back_on=ago(190) if n else None)
    # A job that had both.
    both = make.past_repair(kept, fix, on=ago(100))
    Repair.objects.create(
        job=both.job,
        fault=gone,
        fix=other,
        outcome=states.FIXED,
        fix_type="lasting",
        handed_over_on=ago(100),
    )
    # A visit whose cost is that of the fault that came back, under its other code.
    done = make.past_repair(gone, other, on=ago(90), back_on=ago(60))
    again = done.later_assessments.get().job
    facts = {"outcome": states.FIXED, "fix_type": "lasting"}
    for fault, cost in ((kept, 30), (make.fault("PWR-C"), 7)):
        Repair.objects.create(job=again, fault=fault, fix=fix, cost=cost, **facts)
    make.hand_over(again, on=ago(50))
    learning.learn_all()
    return kept, gone, fix, other


def sound():
    return Comeback.objects.first_difference() + learning.first_difference()


def test_only_these_records_name_an_entry():
    """What else named one would have to move with it, or be linked both ways."""
    links = {
        model: {
            f"{one.related_model.__name__}.{one.field.name}"
            for one in model._meta.get_fields(include_hidden=True)
            if one.auto_created and not one.concrete
        }
        for model in (Fault, Fix)
    }
    joined = {"Fix_faults.fault", "Fault_symptoms.fault", "Fault_checks.fault"}
    common = ("MergedEntry", "Repair", "Comeback", "UncodedRepair")
    assert links[Fault] - joined == {
        *("Fix.faults", "LearntCase.fault", "BoardNote.fault"),
        *(f"{name}.fault" for name in common),
    }
    assert links[Fix] == {
        *("Fix_faults.fix", "UsualPart.fix", "QuoteOption.fix", "QuoteLine.fix"),
        *(f"{name}.fix" for name in common),
    }


def test_faults_merge_with_all_that_names_them(twins, client):
    kept, gone, fix, other = twins
    assert sound() == ""
    plan = dict(fault_merge(kept, gone).moves)
    assert plan == {
        "repairs": 5,
        "jobs": 5,
        "comebacks": 3,
        "quotes": 0,
        "usual symptoms": 1,
        "checks": 1,
        "fixes": 1,
        "notes by board": 1,
        "jobs learnt from": 5,
    }
    before = list(
        Comeback.objects.order_by("pk").values_list("pk", "fix", "came_back_on")
    )
    client.force_login(make.user("owner"))
    page = reverse("diagnosis:merge_faults", args=[kept.pk])
    assert "Jack loose" in client.get(page, {"query": "jack"}).text
    preview = " ".join(client.get(page, {"other": gone.pk}).text.split())
    assert "repairs 5, jobs 5, comebacks 3" in preview
    assert "1 of the jobs learnt from had both" in preview
    assert Fault.objects.filter(pk=gone.pk).exists()
    assert client.post(f"{page}?other={gone.pk}").url == kept.get_absolute_url()
    kept.refresh_from_db()
    assert not Fault.objects.filter(pk=gone.pk).exists()
    assert (kept.name, kept.area) == ("Socket loose", "power")
    assert kept.notes == "Look under the shield.\n\nWiggle it."
    assert [str(one) for one in kept.symptoms.all()] == ["flickers"]
    assert set(kept.fixes.all()) == {fix, other}
    assert kept.repairs.count() == 10 and kept.board_notes.count() == 1
    after = list(
        Comeback.objects.order_by("pk").values_list("pk", "fix", "came_back_on")
    )
    assert after == before
    assert set(Comeback.objects.values_list("fault", flat=True)) == {kept.pk}
    # What doing it again cost is now known to be for the fault that came back.
    assert Comeback.objects.get(rework_handed_over_on=ago(50)).cost == 30
    assert LearntCase.objects.filter(fault=kept).count() == 9
    assert sound() == ""
    counts = verdicts_of(timezone.localdate(), shop=make.shop())
    assert standing(counts, kept.pk, other).row.repairs == 5
    assert entries_of(kept)[-1][0] == Action.MERGED
    assert "PWR-B" in client.get(kept.get_absolute_url()).text


def test_fixes_merge_also_in_sent_quotes(twins, client):
    kept_fault, _, fix, other = twins
    socket, wire = make.part("JCK"), make.part("WIRE")
    fix.usual_parts.create(part=socket, quantity=1)
    for part in (socket, wire):
        other.usual_parts.create(part=part, quantity=2)
    other.faults.add(kept_fault)
    repair = make.repair(fault_=kept_fault, fix=other)
    repair.job.state = states.DIAGNOSED
    repair.job.save()
    stamp = make.stamp(on=timezone.localdate())
    quote = drafting.draft(repair.job, stamp=stamp)
    sending.send(quote, stamp=stamp)
    printed = Quote.objects.values_list("pdf_sha256", flat=True).get()
    used = QuoteOption.objects.filter(fix=other).count()
    assert used and QuoteLine.objects.filter(fix=other).exists()
    plan = dict(fix_merge(fix, other).moves)
    assert (plan["quotes"], plan["usual parts"], plan["repairs"]) == (1, 1, 6)
    merge_fixes(fix, other, stamp=stamp)
    assert not Fix.objects.filter(pk=other.pk).exists()
    assert QuoteOption.objects.filter(fix=fix).count() >= used
    assert Quote.objects.values_list("pdf_sha256", flat=True).get() == printed
    needs = {one.part: one.quantity for one in fix.usual_parts.all()}
    assert needs == {socket: 1, wire: 2}
    assert fix.faults.count() == 2
    assert sound() == ""


def test_only_a_merge_moves_what_is_final(twins):
    kept, gone, fix, other = twins
    for change in ({"fault": kept}, {"fix": fix}):
        with pytest.raises(DatabaseError, match="after handover"), transaction.atomic():
            Repair.objects.filter(fault=gone).update(**change)
    merge_faults(kept, gone, stamp=make.stamp())
    other_fault = Fault.objects.get(code="PWR-C")
    with pytest.raises(DatabaseError, match="after handover"), transaction.atomic():
        Repair.objects.filter(fault=kept).update(fault=other_fault)


def test_a_merge_that_fails_changes_nothing(twins, monkeypatch):
    kept, gone, *_ = twins

    def fail(visits):
        raise DatabaseError("full")

    monkeypatch.setattr("repairs.diagnosis.book_merge._write_comebacks", fail)
    with pytest.raises(DatabaseError, match="full"):
        merge_faults(kept, gone, stamp=make.stamp())
    assert gone.repairs.count() == 5 and gone.fixes.count() == 1
    assert sound() == ""


def test_faults_on_one_open_job_do_not_merge(twins, client):
    kept, gone, *_ = twins
    with pytest.raises(RefusedError, match="the same one"):
        fault_merge(kept, kept)
    job = make.repair(fault_=kept).job
    make.repair(job, gone)
    with pytest.raises(RefusedError, match=f"open job: {job.number}"):
        fault_merge(kept, gone)
    client.force_login(make.user("bench"))
    page = reverse("diagnosis:merge_faults", args=[kept.pk])
    assert client.get(page).status_code == 403
