"""The demo shop, filled once for all that is asked of it."""

import io
import json
import re
from collections import Counter
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db.models import Sum
from django.utils import timezone

from billing.changes.models import ChangeOrder
from billing.handover.models import Collection, Parcel
from billing.invoices.models import (
    DayClose,
    EInvoice,
    Invoice,
    Payment,
    Receipt,
    Reminder,
)
from billing.quotes import states as quote_states
from billing.quotes.models import Link, Quote
from billing.repair_form.models import RepairInformationForm
from repairs.customers.models import Customer
from repairs.faults.models import Fault
from repairs.jobs import states
from repairs.jobs.models import Job, Labour, Repair, ReturnAssessment
from repairs.stock.models import Delivery, Part, StockMovement
from shopdesk.demo import facts
from shopdesk.demo.past import BAD_LOT, past
from shopdesk.demo.samples import SAMPLES
from shopdesk.demo.stories import JOBS, STEPS
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop, TaxRate
from shopdesk.staff.models import User
from tests.repairs.history.files import records

pytestmark = pytest.mark.django_db


# --- the whole ------------------------------------------------------------------


def test_it_is_a_shop_of_eighteen_months_with_six_hundred_jobs(demo):
    assert 560 <= Job.objects.count() <= 640
    first = Job.objects.order_by("booked_in_on").first().booked_in_on
    assert 530 <= (timezone.localdate() - first).days <= 550
    assert Fault.objects.count() == 65
    areas = {"power", "charging", "display", "audio", "data lines", "mechanical"}
    assert areas | {"liquid"} <= set(Fault.objects.values_list("area", flat=True))
    assert set(Job.objects.values_list("came_by", flat=True)) == {"counter", "post"}


def test_there_are_jobs_in_every_state_today(demo):
    assert set(Job.objects.values_list("state", flat=True)) == set(states.LABELS)
    ready = set(
        Job.objects.filter(state=states.READY).values_list("outcome", flat=True)
    )
    assert ready >= {"fixed", "declined", "no_fault_found", "not_repairable"}
    assert Job.objects.filter(uncollected_since__isnull=False).count() == 2
    assert set(Job.objects.values_list("waiting_for", flat=True)) >= {
        "customer",
        "parts",
    }
    assert Labour.objects.running().count() == 1


def test_returns_are_assessed_or_not_assessed_yet(demo):
    kinds = set(ReturnAssessment.objects.values_list("assessment", flat=True))
    assert kinds == set(states.RETURN_ASSESSMENTS)
    here = Job.objects.open().filter(decisions__isnull=False).distinct()
    now = Counter(job.decision.assessment for job in here)
    assert now == {"undecided": 2, "same_fault": 2, "handling_damage": 1}


def test_quotes_and_invoices_have_their_documents(demo):
    assert {*Quote.objects.values_list("state", flat=True)} == set(quote_states.LABELS)
    frozen = Quote.objects.filter(sent_at__isnull=False)
    for row in [*frozen, *Invoice.objects.all()]:
        assert bytes(row.pdf).startswith(b"%PDF")
    standing = Counter(invoice.status for invoice in Invoice.objects.with_balance())
    assert standing == {"paid": 4, "open": 4, "credited": 1, "credit note": 2}
    assert {*Payment.objects.values_list("means", flat=True)} >= {
        "cash",
        "card",
        "transfer",
    }


def test_every_kind_of_record_exists(demo):
    for kind in (
        ChangeOrder,
        Collection,
        DayClose,
        EInvoice,
        Email,
        Link,
        Parcel,
        Receipt,
        Reminder,
        RepairInformationForm,
        TaxRate,
    ):
        assert kind.objects.exists(), kind
    assert Repair.objects.filter(comeback_allowance__isnull=False).count() > 15


def test_numbers_follow_the_days(demo):
    for kind in Invoice.Kind:
        invoices = Invoice.objects.filter(kind=kind).order_by("number")
        assert [i.number for i in invoices] == list(range(1, len(invoices) + 1))
        days = [invoice.issued_on for invoice in invoices]
        assert days == sorted(days)


def test_no_step_is_in_the_future(demo):
    for job in Job.objects.filter(is_from_history=False).prefetch_related(
        "transitions"
    ):
        moments = [transition.made_at for transition in job.transitions.all()]
        assert moments == sorted(moments) and moments[-1] < timezone.now()


# --- comebacks ------------------------------------------------------------------


@pytest.fixture
def rows(demo):
    """The comeback table by fault and fix."""
    out = io.StringIO()
    call_command("comebacks", "--format", "json", stdout=out)
    found = [SimpleNamespace(**row) for row in json.loads(out.getvalue())]
    return {(row.fault, row.fix): row for row in found}


def test_about_one_repair_in_eight_comes_back(rows):
    repairs = sum(row.repairs for row in rows.values())
    share = sum(row.returned for row in rows.values()) / repairs
    assert 0.06 < share < 0.18


def test_a_lasting_fix_that_is_really_a_stopgap_is_found(rows):
    for pair in (
        ("DSP-BALLS-CRACK", "BALLS-REFLOW"),
        ("PWR-JACK-LOOSE", "JACK-RESOLDER"),
    ):
        assert rows[pair].declared == "lasting"
        assert rows[pair].verdict == "comes back"


def test_a_stopgap_may_last_and_a_lasting_fix_mostly_does(rows):
    assert rows["MEC-HINGE-TORN", "HINGE-GLUE"].declared == "stopgap"
    assert rows["MEC-HINGE-TORN", "HINGE-GLUE"].verdict == "holds"
    verdicts = Counter(r.verdict for r in rows.values() if r.declared == "lasting")
    assert verdicts["holds"] >= 5


def test_unreliable_fixes_come_back_more_often(rows):
    """Compare with the true risks, which only the demo knows."""
    risk = {(f, p.fix): p.risk for f, pairs in facts.PAIRS.items() for p in pairs}

    def came_back(is_bad):
        chosen = [r for pair, r in rows.items() if (risk[pair] >= 0.3) == is_bad]
        return sum(r.returned for r in chosen) / sum(r.repairs for r in chosen)

    assert came_back(True) > 0.25
    assert came_back(False) < 0.1


def test_comebacks_take_days_to_weeks(demo):
    days = sorted(
        (d.job.booked_in_on - d.earlier.job.handed_over_on).days
        for d in ReturnAssessment.objects.filter(
            assessment="same_fault", job__is_from_history=True
        ).select_related("job", "earlier__job")
    )
    assert days[0] >= 2 and days[-1] <= 90
    assert 10 <= days[len(days) // 2] <= 40


def test_one_delivery_is_bad(demo):
    def share(repairs):
        back = repairs.filter(later_assessments__assessment="same_fault").distinct()
        return back.count() / repairs.count()

    sockets = Repair.objects.filter(fix__code="JACK-NEW", outcome="fixed")
    bad = sockets.filter(parts_used__delivery__lot=BAD_LOT).distinct()
    good = sockets.exclude(pk__in=bad)
    assert bad.count() >= 8
    assert share(bad) > 0.25 and share(good) < 0.1


# --- stock ----------------------------------------------------------------------


def test_stock_agrees_with_its_movements_and_deliveries(demo):
    for part in Part.objects.all():
        moves = part.movements.aggregate(n=Sum("quantity"))["n"]
        left = part.deliveries.aggregate(n=Sum("remaining"))["n"]
        assert part.on_hand == moves == left, part
    assert Part.objects.filter(on_hand__gt=0).count() > 30
    assert not Delivery.objects.filter(supplier=None).exists()
    used = StockMovement.objects.filter(kind="used").aggregate(n=Sum("quantity"))["n"]
    on_jobs = Repair.objects.aggregate(n=Sum("parts_used__quantity"))["n"]
    assert -used == on_jobs


# --- invented people ------------------------------------------------------------


def test_no_customer_can_be_reached(demo):
    for customer in Customer.objects.all():
        assert re.fullmatch(r"\+44(1632960|7700900)\d{3}", customer.phone)
        assert re.fullmatch(r"([\w.]+@example\.(org|net|com))?", customer.email)
    assert Shop.current().email.endswith(".example")
    phones = Customer.objects.values_list("phone", flat=True)
    assert len(set(phones)) == len(phones)


def test_the_data_files_fit_together():
    pairs = [pair for pairs in facts.PAIRS.values() for pair in pairs]
    assert set(facts.PAIRS) == set(facts.FAULTS)
    assert {pair.fix for pair in pairs} == set(facts.FIXES)
    kinds = {kind for fault in facts.FAULTS.values() for kind in fault.kinds}
    assert kinds == set(facts.KINDS)
    assert kinds == {model.kind for model in facts.MODELS.values()}
    assert all(kind.accessories for kind in facts.KINDS.values())
    for fix in facts.FIXES.values():
        assert {number for number, _ in fix.parts} <= set(facts.PARTS)
    steps = " ".join(job["steps"] for job in JOBS).split()
    assert {step.split(":")[0] for step in steps} == set(STEPS)
    assert {job["fault"] for job in JOBS} - {""} <= set(facts.FAULTS)
    days = [int(job["days"]) for job in JOBS]
    assert days == sorted(days, reverse=True)  # job numbers follow the days


# --- repeated runs --------------------------------------------------------------


def test_the_same_seed_makes_the_same_past_on_any_day():
    one = past(today=date(2026, 3, 2), seed=4)
    later = past(today=date(2028, 7, 9), seed=4)

    def facts_of(rows, today):
        return [
            (
                row.customer,
                row.serial,
                row.fix,
                row.charged,
                (today - row.booked_in).days,
            )
            for row in rows
        ]

    assert facts_of(one, date(2026, 3, 2)) == facts_of(later, date(2028, 7, 9))
    assert past(today=date(2026, 3, 2), seed=5) != one
    assert min(row.handed_back for row in one) > date(2026, 3, 2) - timedelta(days=549)
    assert max(row.handed_back for row in one) < date(2026, 3, 2)


def test_a_second_run_changes_no_record_but_the_sign_ins(demo):
    def all_but_passwords():
        found = records()
        for user in found["User"]:
            del user["password"]
        del found["TrailEntry"]  # it says that they changed
        return found

    before, secret = all_but_passwords(), User.objects.get(username="owner").password
    out = io.StringIO()
    call_command("demo", stdout=out)
    assert all_but_passwords() == before
    assert out.getvalue().startswith(
        "The demo shop exists already. No record was changed."
    )
    assert User.objects.get(username="owner").password != secret
    assert sign_ins(out.getvalue()) != sign_ins(demo)


def sign_ins(output):
    return dict(line.split() for line in output.split("Sign in as\n")[1].splitlines())


def test_the_printed_sign_ins_work(demo):
    out = io.StringIO()
    call_command("demo", stdout=out)
    printed = sign_ins(out.getvalue())
    assert list(printed) == ["owner", "bench", "counter"]
    for username, words in printed.items():
        user = User.objects.get(username=username)
        assert user.role == username and user.check_password(words)
        assert len(words) >= 15


def test_it_prints_the_comeback_table_the_documents_and_the_sign_ins(demo):
    assert demo.startswith("Comebacks within 90 days")
    assert f"Sample documents in {settings.DATA_DIR / 'papers'}" in demo
    papers = {p.name: p.read_bytes()[:4] for p in settings.DATA_DIR.glob("papers/*")}
    link = papers.pop("customers-link.txt")
    assert link == b"http" and papers.pop("e-invoice.xml") == b"<?xm"
    named = {*SAMPLES, "comebacks.pdf"} - {"e-invoice.xml"}
    assert papers == dict.fromkeys(named, b"%PDF")
    assert all(name in demo for name in named)


# --- what the bench learns ------------------------------------------------------


def test_the_diagnosis_finds_the_fault_more_often_than_what_is_frequent(demo):
    out = io.StringIO()
    call_command("replay", "--format", "json", stdout=out)
    found = json.loads(out.getvalue())
    assert found["jobs"] > 450
    assert found["ours"]["3"] >= 1.3 * found["baseline"]["3"] > 0.3
    # Not given away by symptom or complaint: one job in eight is missed even so.
    assert found["ours"]["3"] < 0.9
