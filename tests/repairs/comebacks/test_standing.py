"""One verdict everywhere: the type in the fault book beside the measured one."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from billing.quotes import drafting
from repairs.bench.closing_forms import CloseForm
from repairs.bench.diagnosis_forms import JobFixForm
from repairs.comebacks.standing import better_fix, standing, verdicts_of
from repairs.diagnosis.learning import learn_all
from repairs.faults.fix_types import LASTING, STOPGAP
from repairs.jobs import states
from shopdesk.shop.models import Shop
from tests import make

pytestmark = pytest.mark.django_db


def past(fault, fix, *, held=0, back=0):
    for n in range(held + back):
        on = timezone.localdate() - timedelta(days=400 - n)
        came = on + timedelta(days=30) if n < back else None
        make.past_repair(fault, fix, on=on, back_on=came)


@pytest.fixture
def shop():
    return make.shop(warranty_days_lasting=180, warranty_days_stopgap=30)


@pytest.fixture
def fixes(shop):
    """A lasting fix that comes back, a stopgap that does not, and one never done."""
    fault = make.fault()
    bad = make.fix(fault, code="BAD", name="Reflow")
    good = make.fix(fault, code="GLUE", name="Glue", fix_type=STOPGAP)
    new = make.fix(fault, code="NEW", name="Replace")
    past(fault, bad, held=17, back=8)
    past(fault, good, held=60)
    return fault, bad, good, new


def open_repair(fault, fix=None):
    repair = make.repair(fault_=fault)
    repair.fix = fix
    repair.save()
    repair.job.state = states.DIAGNOSED
    repair.job.save()
    return repair


def test_it_says_both_types_where_they_differ(fixes):
    fault, bad, good, new = fixes
    verdicts = verdicts_of(timezone.localdate(), shop=Shop.current())
    worse, better, unknown = (standing(verdicts, fault.pk, f) for f in (bad, good, new))
    assert worse.text == (
        "recorded as lasting, performs like a stopgap: 8 of 25 came back"
    )
    assert (worse.measured, worse.for_customer) == (STOPGAP, STOPGAP)
    assert better.text == (
        "recorded as stopgap, lasts better than recorded: 0 of 60 came back"
    )
    assert (better.measured, better.for_customer) == (LASTING, STOPGAP)
    assert (unknown.text, unknown.for_customer) == ("lasting", LASTING)


def test_the_fix_picker_and_closing_follow_the_verdict(fixes):
    fault, bad, _, new = fixes
    verdicts = verdicts_of(timezone.localdate(), shop=Shop.current())
    repair = open_repair(fault, bad)
    form = JobFixForm(repair=repair, verdicts=verdicts)
    labels = {
        value.instance.code: label for value, label in form["chosen"].field.choices
    }
    assert "performs like a stopgap: 8 of 25 came back" in labels["BAD"]
    assert "(usually lasting," in labels["NEW"]
    facts = {"on": make.DAY, "verdicts": verdicts}
    closing = CloseForm(repair=repair, **facts)
    assert closing.initial["fix_type"] == STOPGAP
    assert "performs like a stopgap" in closing.fields["fix_type"].help_text
    repair.fix = new
    assert CloseForm(repair=repair, **facts).initial["fix_type"] == LASTING


def test_the_fix_picker_offers_the_one_that_is_measured_better(fixes, owner):
    fault, bad, good, new = fixes
    verdicts = verdicts_of(timezone.localdate(), shop=Shop.current())
    everything = [bad, good, new]
    assert better_fix(verdicts, fault.pk, bad, among=everything) == good
    assert better_fix(verdicts, fault.pk, new, among=everything) == good
    assert better_fix(verdicts, fault.pk, good, among=everything) is None
    assert better_fix(verdicts, fault.pk, bad, among=[bad, new]) is None
    repair = open_repair(fault, bad)
    page = owner.get(repair.job.get_absolute_url()).content.decode()
    assert "Choose GLUE instead" in page
    sent = {f"fix-{repair.pk}-chosen": good.pk, "version": repair.job.version}
    answer = owner.post(
        reverse("bench:select_fix", args=[repair.pk]),
        sent,
        headers={"HX-Request": "true"},
    )
    assert "Choose" not in answer.content.decode()
    repair.refresh_from_db()
    assert repair.fix == good


def test_counter_fault_book_and_part_say_both_types(fixes, client):
    fault, bad, good, new = fixes
    client.force_login(make.user("counter"))
    part = make.part("JCK-1")
    bad.usual_parts.create(part=part)
    learn_all()

    def text(name, *args, **query):
        answer = client.get(
            reverse(name, args=args), query, headers={"HX-Request": "true"}
        )
        return " ".join(strip_tags(answer.content.decode()).split())

    both = "lasting performs like a stopgap 8 of 25 came back within 90 days"
    assert both in text("knowledge:verdict", fault.pk, bad.pk)
    assert both in text("knowledge:standings", part=part.pk)
    assert f"for {fault.name} stopgap lasts better" in text(
        "knowledge:standings", fix=good.pk
    )
    unused = text("knowledge:standings", part=make.part().pk)
    assert unused == "No fix of the fault book uses this part."
    likely = {"d-kind": "laptop", "complaint": "falls out"}
    assert "Usual fix: Glue stopgap lasts better" in text("diagnosis:likely", **likely)
    page = client.get(fault.get_absolute_url()).content.decode()
    assert reverse("knowledge:verdict", args=[fault.pk, new.pk]) in page
    page = client.get(part.get_absolute_url()).content.decode()
    assert f"{reverse('knowledge:standings')}?part={part.pk}" in page


def test_a_quote_calls_a_fix_that_comes_back_a_stopgap_with_its_warranty(fixes):
    fault, bad, _, new = fixes
    repair = open_repair(fault, bad)
    quote = drafting.draft(repair.job, stamp=make.stamp(on=timezone.localdate()))
    options = {option.fix.code: option for option in quote.options.all()}
    assert options["BAD"].fix_type == STOPGAP
    assert options["BAD"].warranty_days == 30
    assert "may return" in options["BAD"].description
    assert options["NEW"].fix_type == LASTING
    assert options["NEW"].warranty_days == 180


def test_one_press_adds_any_fix_of_the_fault_with_its_price_and_record(fixes, owner):
    fault, bad, good, _ = fixes
    repair = open_repair(fault, bad)
    quote = drafting.draft(repair.job, stamp=make.stamp(on=timezone.localdate()))
    page = " ".join(owner.get(quote.get_absolute_url()).content.decode().split())
    press = f"add fix {repair.pk} {good.pk}"
    assert f'value="{press}"' in page
    assert "lasts better than recorded: 0 of 60 came back" in page
    on = timezone.localdate()
    drafting.add_fix(quote, repair_pk=repair.pk, fix_pk=good.pk, on=on)
    added = quote.options.get(fix=good)
    assert added.lines.first().price == added.lines.first().suggested > 0
    assert "60" in added.track_record


def test_a_fix_of_another_fault_is_not_added(fixes):
    fault, bad, *_ = fixes
    strange = make.fix(make.fault(), code="STRANGE")
    repair = open_repair(fault, bad)
    quote = drafting.draft(repair.job, stamp=make.stamp(on=timezone.localdate()))
    with pytest.raises(drafting.RefusedError, match="does not have this fix"):
        drafting.add_fix(
            quote, repair_pk=repair.pk, fix_pk=strange.pk, on=timezone.localdate()
        )
