"""One device the whole way, on real screens: booked in, found, quoted, approved,
repaired, tested, closed, handed over; back again, assessed, reworked, counted.
"""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.utils import timezone

from billing.invoices.models import Invoice
from repairs.jobs import states
from repairs.jobs.models import Job
from repairs.stock.models import Part
from tests.browser.rules import settled

pytestmark = pytest.mark.django_db(transaction=True)

BENCH_TO_THE_END = [
    states.APPROVED,
    states.REPAIRED,
    states.TESTED,
    states.READY,
    states.HANDED_OVER,
]


def steps(job):
    return list(job.transitions.order_by("id").values_list("to_state", flat=True))


def click(page, name):
    """Click a button and wait for the response, or for the page that it leads to."""
    opened = page.evaluate("performance.timeOrigin")
    with page.expect_response(lambda answer: answer.request.method == "POST") as sent:
        page.locator("main").get_by_role("button", name=name, exact=True).click()
    if sent.value.request.is_navigation_request():
        page.wait_for_function(
            "opened => performance.timeOrigin !== opened", arg=opened
        )
    settled(page)


def box(page, name):
    named = page.locator("main").get_by_label(name, exact=True)
    return named.and_(page.locator("input"))


def start_booking(counter, *, serial):
    """Four letters and Enter find the customer; the serial says which device."""
    counter.goto("/counter/")
    counter.keyboard.type("fenw")
    counter.get_by_text("+44 1632 960123").wait_for()
    counter.keyboard.press("Enter")
    box(counter, "Serial (optional)").fill(serial)
    counter.keyboard.press("Tab")


def finish_booking(counter, complaint):
    counter.get_by_label("Complaint").fill(complaint)
    counter.get_by_role("button", name="Book in").click()
    counter.wait_for_url(re.compile(r"/counter/\d+/"))
    return Job.objects.latest("id")


def unfold(page, name):
    section = page.locator(f"#{name}")
    if section.get_attribute("open") is None:
        section.locator("> summary").click()


def verify(bench, job):
    bench.goto(f"/bench/{job.pk}/")
    box(bench, "Failures").fill("3")
    box(bench, "Tries").fill("5")
    click(bench, "Save findings")


def find_the_fault(bench, job):
    bench.goto(f"/bench/{job.pk}/")
    bench.get_by_label("Fault (code or words)").fill("PWR-JACK-OPEN")
    click(bench, "Add fault")
    measure(bench)
    click(bench, "Complete diagnosis")


def measure(bench):
    unfold(bench, "readings")
    box(bench, "Test point").fill("Socket, pin 1 to board")
    box(bench, "Reading").fill("1k2")
    box(bench, "Expected (optional)").fill("<R5")
    click(bench, "Add measurement")
    bench.locator("#readings").get_by_text("fail", exact=True).wait_for()


def repair_and_test(bench, *, minutes):
    bench.locator("summary", has_text="Add time").click()
    box(bench, "Minutes").fill(str(minutes))
    click(bench, "Add time")
    click(bench, "Use 1 of SOC-5P")
    click(bench, "Mark as repaired")
    box(bench, "Tries (optional)").fill("5")
    box(bench, "Failures").fill("0")
    click(bench, "Record test")


def close_as_fixed(bench):
    repair = bench.get_by_role("group", name=re.compile("PWR-JACK-OPEN"))
    repair.get_by_label("Outcome").select_option("fixed")
    click(bench, "Close job")


def pdf(page, link):
    address = page.get_by_role("link", name=link).get_attribute("href")
    answer = page.request.get(address)
    assert answer.ok and answer.body().startswith(b"%PDF-")
    return answer.body()


def test_a_device_goes_the_whole_way_and_its_comeback_is_counted(sign_in, stocked_shop):
    with time_machine.travel(timezone.now() - timedelta(days=40)):
        counter, bench = sign_in("counter"), sign_in("bench")

        # A device the shop has never seen is booked in.
        start_booking(counter, serial="NW14-00812")
        counter.get_by_label("Kind").fill("laptop")
        counter.get_by_label("Maker").fill("Norwind")
        box(counter, "Model").fill("Slate 14")
        job = finish_booking(counter, "Charges only when I hold the plug up.")
        assert job.state == states.BOOKED_IN and job.device.serial == "NW14-00812"
        for paper in ("slip", "label"):
            address = counter.locator(f"a[href*='/{paper}/']").first
            answer = counter.request.get(address.get_attribute("href"))
            assert answer.ok and answer.body().startswith(b"%PDF-")

        # The bench finds the fault; the till quotes it on paper.
        verify(bench, job)
        find_the_fault(bench, job)
        counter.goto(f"/bench/{job.pk}/")
        counter.get_by_role("link", name="Quote", exact=True).click()
        click(counter, "Create quote")
        click(counter, "Send quote")
        sent = pdf(counter, "Quote (PDF)")
        assert sent == pdf(counter, "Quote (PDF)")

        # The customer says yes to the lasting fix.
        counter.get_by_label("Replace the charging socket").check()
        click(counter, "Record acceptance")
        assert steps(job)[-3:] == [states.DIAGNOSED, states.QUOTED, states.APPROVED]

        # Repaired with minutes and a part, tested, closed.
        bench.goto(f"/bench/{job.pk}/")
        repair_and_test(bench, minutes=50)
        close_as_fixed(bench)
        job.refresh_from_db()
        assert job.state == states.READY and job.outcome == states.FIXED
        assert Part.objects.get(number="SOC-5P").on_hand == 9

        # Handed over: the invoice is paid, the warranty starts.
        counter.goto(f"/bench/{job.pk}/")
        counter.get_by_role("link", name="Hand over").click()
        counter.get_by_label("card").check()
        click(counter, "Hand over device")
        pdf(counter, "Invoice (PDF)")
        pdf(counter, "Warranty certificate (PDF)")
        job.refresh_from_db()
        repair = job.repairs.get()
        assert steps(job)[-5:] == BENCH_TO_THE_END
        assert repair.minutes == 50
        assert repair.warranty_until == job.handed_over_on + timedelta(days=180)
        bill = Invoice.objects.get(job=job)
        assert bill.balance == 0 and bill.gross == job.payments.total() > 0

    with time_machine.travel(timezone.now() - timedelta(days=12)):
        counter, bench = sign_in("counter"), sign_in("bench")

        # It comes back, and is recognised by its serial at once.
        start_booking(counter, serial="nw14 00812")
        offer = counter.get_by_role("group", name=re.compile("has been here before"))
        offer.wait_for()
        assert re.search(r"\b28\b", offer.inner_text())
        assert "in warranty until" in offer.inner_text()
        offer.get_by_label(job.number).check()
        again = finish_booking(counter, "The same as last time.")
        assert again.device == job.device and again.decision.earlier == repair

        # Verified first, then assessed: the same fault, in warranty.
        verify(bench, again)
        bench.locator("#next").get_by_role("link", name="Assess return").click()
        bench.get_by_label("same fault").check()
        bench.get_by_label("yes, free of charge").check()
        click(bench, "Save assessment")
        assert (
            again.decision.assessment == states.SAME_FAULT and again.is_warranty_repair
        )

        # A warranty repair needs no quote and costs nothing.
        assert again.repairs.get().fault == repair.fault
        bench.goto(f"/bench/{again.pk}/")
        measure(bench)
        click(bench, "Complete diagnosis")
        click(bench, "Start warranty repair")
        click(bench, "Use JACK-REPLACE")
        repair_and_test(bench, minutes=30)
        close_as_fixed(bench)
        counter.goto(f"/till/hand-back/{again.pk}/")
        click(counter, "Hand over device")
        again.refresh_from_db()
        assert steps(again)[-5:] == BENCH_TO_THE_END
        assert states.QUOTED not in steps(again)
        assert Invoice.objects.get(job=again).gross == 0
        rework = again.repairs.get()
        part_cost = rework.parts_used.get().cost
        assert rework.cost == Decimal(30) * stocked_shop.hourly_cost / 60 + part_cost
        assert rework.warranty_until == repair.warranty_until

    # Counted in the month's comeback table, which opens the jobs behind it.
    owner = sign_in("owner")
    owner.get_by_role("link", name="Comebacks").click()
    table = owner.get_by_role("table").filter(has_text="JACK-REPLACE").first
    row = table.get_by_role("row").filter(has_text="JACK-REPLACE")
    assert row.count() == 1
    row.get_by_role("link").first.click()
    owner.get_by_text(job.number).first.wait_for()
    repairs = owner.get_by_role("row").filter(has_text=job.number)
    repairs.filter(has_text="28").wait_for()
    assert (owner.complaints, counter.complaints, bench.complaints) == ([], [], [])
