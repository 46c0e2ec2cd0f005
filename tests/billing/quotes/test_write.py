"""The desk writes a quote: proposed by the fault book, changed by hand, sent."""

from datetime import date
from decimal import Decimal

import pytest

from billing.quotes import drafting, sending, states
from billing.quotes.models import Quote
from repairs.faults.models import UsualPart
from repairs.jobs import workflow
from shopdesk.errors import IncompleteError, InvalidTransitionError
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db


def test_the_fault_book_proposes_a_lasting_option_and_a_stopgap():
    make.shop(hourly_rate=Decimal(68), rounding_step=Decimal("0.50"))
    quote = till.drafted()
    lasting, stopgap = quote.options.all()
    assert (lasting.fix_type, stopgap.fix_type) == ("lasting", "stopgap")
    assert (lasting.warranty_days, stopgap.warranty_days) == (180, 30)
    labour, part = lasting.lines.all()
    # 45 minutes at 68 an hour; two parts at 2.50 with 60 % on them.
    assert (labour.kind, labour.price, labour.suggested) == ("labour", 51, 51)
    assert (part.kind, part.quantity, part.price) == ("part", 2, 4)
    assert part.amount == 8
    assert lasting.totals().gross == Decimal("70.80")
    assert quote.findings == "We found: Charging socket loose."


def test_one_fix_in_the_book_gives_one_option():
    assert [o.fix_type for o in till.drafted(fixes=["stopgap"]).options.all()] == [
        "stopgap"
    ]


def test_a_fault_without_a_fix_still_gives_an_option_to_write_on():
    (option,) = till.drafted(fixes=[]).options.all()
    assert option.title == "Repair: Charging socket loose"
    assert option.lines.get().price == 17  # the least minutes: 15


def test_the_fix_the_bench_chose_is_proposed_before_others():
    job = till.diagnosed(fixes=["lasting"])
    repair = job.repairs.get()
    repair.fix = make.fix(repair.fault, name="Our own way", minutes=400)
    repair.save()
    quote = drafting.draft(job, stamp=make.stamp(on=till.TODAY))
    assert quote.options.first().title == "Our own way"


def test_two_faults_make_options_that_deal_with_both():
    job = till.diagnosed()
    other = make.fault(name="Fan noisy")
    make.fix(other, name="Replace the fan", fix_type="lasting", minutes=20)
    make.repair(job, other)
    lasting, stopgap = drafting.draft(
        job, stamp=make.stamp(on=till.TODAY)
    ).options.all()
    assert lasting.title == "Lasting repair of 2 faults"
    assert {line.fix.name for line in stopgap.lines.filter(kind="labour")} == {
        "Stopgap mend",
        "Replace the fan",
    }


def test_a_part_without_any_cost_gets_no_suggested_price():
    job = till.diagnosed(fixes=["lasting"], with_part=False)
    fix = job.repairs.get().fault.fixes.get()
    UsualPart.objects.create(fix=fix, part=make.part())
    line = (
        drafting.draft(job, stamp=make.stamp(on=till.TODAY))
        .options.get()
        .lines.get(kind="part")
    )
    assert line.suggested is None and line.price == 0


def test_the_fee_agreed_and_the_parcel_are_lines_of_their_own():
    quote = till.drafted(
        fixes=["lasting"], agreed_diagnosis_fee=Decimal(25), came_by="post"
    )
    fees = quote.options.get().lines.filter(kind="fee")
    assert [(f.text, f.price) for f in fees] == [
        ("Diagnosis fee, as agreed", 25),
        ("Return shipping", 9),
    ]


def test_a_job_without_a_fault_gets_no_quote():
    job = make.job()
    with pytest.raises(InvalidTransitionError, match="Complete the diagnosis"):
        drafting.draft(job, stamp=make.stamp(on=till.TODAY))
    assert not Quote.objects.exists()


def test_a_job_has_one_quote_that_holds():
    quote = till.drafted()
    with pytest.raises(InvalidTransitionError, match="Version 1"):
        drafting.draft(quote.job, stamp=make.stamp(on=till.TODAY))
    assert Quote.objects.count() == 1


def test_sending_keeps_the_paper_and_moves_the_job():
    make.shop(quote_days=14)
    quote = till.sent(on=date(2026, 3, 5))
    quote.refresh_from_db()
    assert quote.state == states.SENT
    assert quote.valid_until == date(2026, 3, 19)
    assert bytes(quote.pdf)[:5] == b"%PDF-"
    assert quote.job.state == "quoted"


@pytest.mark.parametrize("what", ["no option", "no line"])
def test_an_empty_quote_is_not_sent(what):
    quote = till.drafted(fixes=["lasting"])
    option = quote.options.get()
    if what == "no option":
        option.delete()
    else:
        option.lines.all().delete()
    with pytest.raises(IncompleteError):
        sending.send(quote, stamp=make.stamp(on=till.TODAY))
    quote.refresh_from_db()
    assert quote.state == states.DRAFT and quote.pdf is None
    assert quote.job.state == "diagnosed"


def test_where_the_job_refuses_nothing_is_sent():
    quote = till.drafted()
    workflow.close(
        quote.job,
        outcome="not_repairable",
        why="The board is burnt through.",
        stamp=make.stamp(),
    )
    with pytest.raises(Exception, match="cannot become quoted"):
        sending.send(quote, stamp=make.stamp(on=till.TODAY))
    quote.refresh_from_db()
    assert quote.state == states.DRAFT and not quote.pdf_sha256


def test_a_new_version_is_a_copy_and_the_old_paper_stays():
    old = till.sent()
    paper = bytes(Quote.objects.get(pk=old.pk).pdf)
    new = drafting.revise(old, stamp=make.stamp())
    old.refresh_from_db()
    assert (old.state, new.state, new.version) == ("replaced", "draft", 2)
    assert new.job.state == "diagnosed"
    assert bytes(old.pdf) == paper
    for before, after in zip(old.options.all(), new.options.all(), strict=True):
        assert before.title == after.title
        same = ["text", "quantity", "price", "amount", "suggested", "fix_id"]
        assert list(before.lines.values_list(*same)) == list(
            after.lines.values_list(*same)
        )


def test_a_draft_is_changed_and_not_revised():
    quote = till.drafted()
    with pytest.raises(InvalidTransitionError, match="still a draft"):
        drafting.revise(quote, stamp=make.stamp())
    assert Quote.objects.count() == 1


def test_work_that_is_done_is_not_quoted_anew():
    job = till.ready()
    quote = job.quotes.get()
    with pytest.raises(Exception, match="ready"):
        drafting.revise(quote, stamp=make.stamp())
    quote.refresh_from_db()
    assert quote.state == "accepted" and Quote.objects.count() == 1
