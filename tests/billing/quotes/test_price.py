"""A quote's price bears its comebacks, and the desk may ask another with a reason."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from billing.invoices.draft import draft_invoice
from billing.quotes import drafting, sending, states
from billing.quotes.models import QuoteOption
from repairs.jobs import workflow
from repairs.knowledge.track_record import load_track_record
from shopdesk.errors import IncompleteError, InvalidTransitionError, RefusedError
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.quotes.test_pages import boxes, draft
from tests.papers import text_of

pytestmark = pytest.mark.django_db
DONE_ON = date(2025, 9, 1)


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.OWNER))
    return client


def with_history(job, *, done=12, returned=6, minutes=45):
    """The first fix of the job's fault was done before, and came back so often."""
    fault = job.repairs.get().fault
    fix = fault.fixes.order_by("pk").first()
    for n in range(done):
        on = DONE_ON + timedelta(days=n)
        repair = make.past_repair(fault, fix, on=on, minutes_from_history=minutes)
        if n < returned:
            make.comeback(repair, on=on + timedelta(days=10 + n))
    return job


def quoted(**facts):
    job = with_history(till.diagnosed(fixes=["lasting"]), **facts)
    return drafting.draft(job, stamp=make.stamp(on=till.TODAY))


def send(quote):
    return sending.send(quote, stamp=make.stamp(on=till.TODAY))


def test_a_shop_without_any_history_takes_no_more_than_it_accepts():
    make.shop(max_comeback_risk=Decimal("0.1"), comeback_period_days=90)
    option = till.drafted(fixes=["lasting"]).options.get()
    # 180 days of warranty: at most 1 − 0.9².
    assert 0 < option.chance <= Decimal("0.19")
    assert option.has_no_history
    assert option.track_record == "We have not done this repair before."
    assert option.suggested == option.list_price == 59


def test_what_comes_back_often_costs_more_than_the_list_has_it():
    make.shop(hourly_cost=Decimal(50), target_margin=Decimal(20))
    option = quoted().options.get()
    assert option.is_raised and option.chance > Decimal("0.3")
    assert option.comeback_allowance == pytest.approx(
        option.chance * option.rework_cost, abs=Decimal("0.01")
    )
    labour = option.lines.get(kind="labour")
    assert labour.price == labour.suggested > 51
    charged = sum(line.amount for line in option.lines.all())
    assert charged == option.suggested == option.min_price
    left = charged - option.own_cost - option.comeback_allowance
    assert left >= charged * Decimal("0.2") - Decimal("0.02")
    assert "about 1 in 2" in option.track_record or "half" in option.track_record


def test_a_longer_warranty_costs_more():
    make.shop()
    job = with_history(till.diagnosed(fixes=["lasting"]))
    fault = job.repairs.get().fault
    fix = fault.fixes.get()
    record = load_track_record(on=till.TODAY, shop=Shop.current())
    chances = [
        record.chance(fault.pk, fix.pk, days=days) for days in (0, 10, 30, 90, 365, 800)
    ]
    assert chances[0] == 0 and chances == sorted(chances) and chances[-1] <= 1


def test_minutes_on_record_are_planned():
    make.shop()
    slow = quoted(returned=0, minutes=90).options.get()
    assert 60 < slow.planned_minutes <= 95


def test_another_price_is_sent_only_with_a_reason():
    make.shop()
    quote = till.drafted(fixes=["lasting"])
    option = quote.options.get()
    line = option.lines.get(kind="labour")
    line.price -= 5
    line.calculate(places=2)
    line.save()
    assert option.above_suggestion() == -5
    with pytest.raises(IncompleteError, match="Enter a reason"):
        send(quote)
    quote.refresh_from_db()
    assert quote.state == states.DRAFT and quote.job.state == "diagnosed"
    option.price_reason = "An old customer."
    option.save()
    assert send(quote).state == states.SENT


def test_the_page_asks_for_the_reason_and_keeps_what_was_typed(desk):
    quote = till.drafted(fixes=["lasting"])
    line = quote.options.get().lines.get(kind="labour")
    where = f"{quote.get_absolute_url()}send/"
    page = desk.post(where, draft(desk, quote, **{f"l{line.pk}-price": "40"}))
    text = page.content.decode()
    assert "Enter a reason" in text and 'value="40' in text
    assert "lower." in text
    line.refresh_from_db()
    assert line.price == 51


@pytest.mark.parametrize("kind", [Role.COUNTER, Role.BENCH, Role.OWNER])
def test_who_may_see_costs_sees_how_the_price_is_built_up(client, kind):
    client.force_login(make.user(kind))
    quote = till.drafted(fixes=["lasting"])
    for counter_sees in (False, True):
        make.shop(counter_sees_costs=counter_sees)
        page = client.get(quote.get_absolute_url()).content.decode()
        is_shown = counter_sees or kind != Role.COUNTER
        assert ("Comeback allowance" in page) == is_shown
        assert ("No history yet" in page) == is_shown


def test_other_warranty_days_change_what_is_suggested(desk):
    quote = quoted()
    option = quote.options.get()
    asked = draft(desk, quote, **{f"o{option.pk}-warranty_days": "0"})
    desk.post(quote.get_absolute_url(), asked)
    option.refresh_from_db()
    assert option.chance == 0 and option.comeback_allowance == 0


def test_a_yes_tells_the_repair_what_its_price_bears():
    make.shop()
    quote = send(quoted())
    option = quote.options.get()
    till.accept_online(quote)
    assert quote.job.repairs.get().comeback_allowance == option.comeback_allowance > 0


def test_a_yes_to_two_faults_shares_the_comeback_allowance():
    make.shop()
    job = till.diagnosed(fixes=["lasting"])
    other = make.fault(name="Fan noisy")
    make.fix(other, name="Replace the fan", fix_type="lasting", minutes=20)
    make.repair(job, other)
    quote = send(drafting.draft(job, stamp=make.stamp(on=till.TODAY)))
    option = quote.options.get()
    till.accept_online(quote)
    shares = [repair.comeback_allowance for repair in job.repairs.all()]
    assert sum(shares) == option.comeback_allowance and shares[0] > shares[1] > 0


def test_a_stale_page_saves_nothing_and_keeps_what_was_typed(desk):
    quote = till.drafted(fixes=["lasting"])
    page = desk.get(quote.get_absolute_url())
    typed = boxes(page) | {"opened": page.context["fingerprint"], "q-findings": "Mine."}
    option = quote.options.get()
    QuoteOption.objects.filter(pk=option.pk).update(title="Changed by another")
    answer = desk.post(quote.get_absolute_url(), typed).content.decode()
    assert "Someone else changed this quote" in answer and "Mine." in answer
    quote.refresh_from_db()
    option.refresh_from_db()
    assert quote.findings != "Mine." and option.title == "Changed by another"


def test_a_fresh_page_is_saved(desk):
    quote = till.drafted(fixes=["lasting"])
    page = desk.get(quote.get_absolute_url())
    typed = boxes(page) | {"opened": page.context["fingerprint"], "q-findings": "Mine."}
    assert desk.post(quote.get_absolute_url(), typed).status_code == 302
    quote.refresh_from_db()
    assert quote.findings == "Mine."


def test_the_device_may_be_had_back_unmended_for_the_fee(desk):
    quote = till.drafted(
        fixes=["lasting"], agreed_diagnosis_fee=Decimal(25), came_by="post"
    )
    desk.post(quote.get_absolute_url(), draft(desk, quote, then="add return"))
    option = quote.options.get(work_kind="return")
    assert [(x.text, x.price) for x in option.lines.all()] == [
        ("Diagnosis fee, as agreed", 25),
        ("Return shipping", 9),
    ]
    with pytest.raises(RefusedError, match="already"):
        drafting.add_no_repair(quote, on=till.TODAY)
    quote = till.accept_online(send(quote), option=option)
    job = quote.job
    job.refresh_from_db()
    assert (quote.state, job.state) == ("accepted", "declined")
    assert job.repairs.get().fix is None


def test_a_yes_to_nothing_mended_is_billed_as_it_was_offered():
    quote = till.drafted(
        fixes=["lasting"], agreed_diagnosis_fee=Decimal(25), came_by="post"
    )
    drafting.add_no_repair(quote, on=till.TODAY)
    till.accept_online(send(quote), option=quote.options.get(work_kind="return"))
    job = quote.job
    job.refresh_from_db()
    workflow.close(
        job, outcome="declined", why="as the customer chose", stamp=make.stamp()
    )
    bill = draft_invoice(job, on=till.TODAY, shop=Shop.current())
    assert bill.totals.net == 34


def test_a_board_is_not_offered_without_its_price():
    quote = till.drafted(fixes=["lasting"])
    drafting.add_board_replacement(quote, on=till.TODAY)
    with pytest.raises(IncompleteError, match="price of “Replacement board”"):
        send(quote)
    line = quote.options.get(work_kind="replace").lines.get(kind="part")
    line.price = Decimal(120)
    line.calculate(places=2)
    line.save()
    assert send(quote).state == "sent"


def test_the_fee_comes_off_a_repair_where_the_shop_says_so():
    make.shop(deducts_diagnosis_fee=True)
    quote = till.drafted(fixes=["lasting"], agreed_diagnosis_fee=Decimal(25))
    fee = quote.options.get().lines.get(kind="fee")
    assert fee.price == 0 and "25.00" in fee.text and "deducted" in fee.text
    drafting.add_no_repair(quote, on=till.TODAY)
    assert quote.options.get(work_kind="return").lines.get().price == 25


def test_a_job_taken_back_to_the_bench_withdraws_its_quote(desk):
    quote = till.sent()
    quote.job.refresh_from_db()
    workflow.revise(quote.job, why="Another fault was found.", stamp=make.stamp())
    quote.refresh_from_db()
    assert quote.status(till.TODAY) == "withdrawn"
    page = desk.get(quote.get_absolute_url()).content.decode()
    assert "Withdrawn" in page and "Record acceptance" not in page
    with pytest.raises(InvalidTransitionError):
        till.accept_online(quote)
    new = drafting.draft(quote.job, stamp=make.stamp(on=till.TODAY))
    quote.refresh_from_db()
    assert (quote.state, new.version, new.state) == ("replaced", 2, "draft")


@pytest.mark.parametrize("typed", ["1e2", "NaN", "-0", "-1", "9" * 400, "1.000,50"])
@pytest.mark.parametrize("box", ["warranty_days", "turnaround_days"])
def test_odd_days_get_a_sentence(desk, box, typed):
    quote = till.drafted(fixes=["lasting"])
    option = quote.options.get()
    asked = draft(desk, quote, **{f"o{option.pk}-{box}": typed})
    answer = desk.post(quote.get_absolute_url(), asked)
    if typed == "-0":
        assert answer.status_code == 302
    else:
        assert answer.status_code == 200
        assert typed in answer.content.decode()


def test_nothing_mended_is_neither_lasting_nor_a_stopgap(desk):
    quote = till.drafted(fixes=["lasting"])
    option = quote.options.get()
    asked = draft(desk, quote, **{f"o{option.pk}-work_kind": "return"})
    assert "Select “no repair”" in (
        desk.post(quote.get_absolute_url(), asked).content.decode()
    )


@pytest.mark.parametrize("kind", [Role.OWNER, Role.BENCH])
def test_the_owners_list_says_where_less_than_suggested_was_asked(client, kind):
    client.force_login(make.user(kind))
    option = till.drafted(fixes=["lasting"]).options.get()
    line = option.lines.get(kind="labour")
    line.price -= 5
    line.calculate(places=2)
    line.save()
    page = client.get("/till/quotes/").content.decode()
    assert ("Below suggestion" in page) == (kind == Role.OWNER)
    assert ("€5.00" in page) == (kind == Role.OWNER)


def test_the_customer_never_sees_how_the_price_is_built_up():
    make.shop()
    quote = send(quoted())
    paper = text_of(quote.pdf)
    assert "about 1 in" in paper or "half" in paper
    for word in ("allowance", "reserve", "margin", "Suggested", "suggested"):
        assert word not in paper
