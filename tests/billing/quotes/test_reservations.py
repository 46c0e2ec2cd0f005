"""Parts of an accepted quote are kept for its job; nobody takes them unnoticed."""

import pytest
from django.urls import reverse

from billing.quotes import drafting, sending
from repairs.bench.actions import apply_transition
from repairs.jobs import states, workflow
from repairs.jobs.actions import use_part
from repairs.jobs.models import PartReservation
from repairs.stock.models import Part
from shopdesk.recording.models import TrailEntry
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(client):
    client.force_login(make.user(role="bench"))
    return client


def accepted():
    """A job with a reserved part: the lasting option needs two of five in stock."""
    quote = till.sent(fixes=("lasting",))
    till.accept_online(quote)
    quote.job.refresh_from_db()
    return quote, quote.job, Part.objects.get()


def stock(part):
    return Part.objects.with_reserved().get(pk=part.pk).stock_text


def test_the_accepted_option_reserves_its_parts_and_using_them_consumes_that(bench):
    _, job, part = accepted()
    assert stock(part) == "5 in stock, 2 reserved, 3 free"
    for page in (part.get_absolute_url(), job.get_absolute_url()):
        assert "5 in stock, 2 reserved, 3 free" in bench.get(page).content.decode()
    row = next(iter(bench.get("/shelf/").context["table"].rows))
    cells = [row.get_cell(name) for name in ("on_hand", "reserved", "free")]
    assert cells == [5, 2, 3]

    use, repair = reverse("bench:use_part", args=[job.pk]), job.repairs.get()
    bench.post(use, {"part-part": part.number, "part-quantity": 1})
    assert stock(part) == "4 in stock, 1 reserved, 3 free"
    bench.post(use, {"part-part": part.number, "part-quantity": 1})
    assert stock(part) == "3 in stock"
    used = repair.parts_used.first()
    bench.post(reverse("bench:put_back_part", args=[used.pk]))
    assert stock(part) == "4 in stock, 1 reserved, 3 free"

    kept = PartReservation.objects.get()
    entries = TrailEntry.objects.filter(kind="repairs.partreservation")
    assert [entry.record for entry in entries] == [kept.pk]


def test_taking_what_others_need_warns_and_names_them_and_takes(bench):
    _, job, part = accepted()
    other = make.repair(make.job(state=states.APPROVED))
    use = reverse("bench:use_part", args=[other.job.pk])
    sent = {"part-part": part.number, "part-quantity": 3}
    answer = bench.post(use, sent, headers={"HX-Request": "true"}).content.decode()
    assert "left in stock" not in answer  # two are left for the two reserved
    sent["part-quantity"] = 1
    answer = bench.post(use, sent, headers={"HX-Request": "true"}).content.decode()
    said = f"{part.number}: 1 left in stock, but reserved: 2 for job {job.number}."
    assert said in answer
    assert stock(part) == "1 in stock, 2 reserved, 1 missing"
    # The page offers the one that is there.
    assert "Use 1<" in bench.get(job.get_absolute_url()).content.decode()
    sent["part-quantity"] = 2
    answer = bench.post(use, sent, headers={"HX-Request": "true"}).content.decode()
    assert "only 1 in stock, 2 requested" in answer

    scrapped = {"s-quantity": 1, "s-reason": "bent"}
    scrapped["s-last_movement_id"] = part.movements.last().pk
    page = bench.post(reverse("stock:scrap", args=[part.pk]), scrapped, follow=True)
    assert f"2 for job {job.number}" in page.content.decode()


@pytest.mark.parametrize("how", ["revised", "closed"])
def test_a_job_no_longer_in_work_releases_its_parts(how):
    quote, job, part = accepted()
    stamp = make.stamp()
    if how == "closed":
        facts = {"outcome": states.NOT_REPAIRABLE, "why": "board cracked"}
        apply_transition(job, workflow.close, version=None, stamp=stamp, **facts)
        assert stock(part) == "5 in stock"
        workflow.reopen(job, stamp=stamp, why="it is repairable after all")
        assert stock(part) == "5 in stock, 2 reserved, 3 free"
        return
    again = drafting.revise(quote, stamp=stamp)
    assert stock(part) == "5 in stock"
    line = again.options.get().lines.get(part=part)
    line.part = make.part(on_hand=1)
    line.quantity = 3
    line.save()
    again = sending.send(again, stamp=make.stamp(on=till.TODAY))
    till.accept_online(again)
    # The new version names another part, and only that is kept now.
    assert stock(part) == "5 in stock"
    assert stock(line.part) == "1 in stock, 3 reserved, 2 missing"


def test_the_bench_reserves_more_and_releases(bench):
    _, job, part = accepted()
    reserve = reverse("bench:reserve_part", args=[job.pk])
    answer = bench.post(reserve, {"part-part": "nothing-such", "part-quantity": 1})
    assert "nothing-such" in answer.content.decode()
    bench.post(reserve, {"part-part": part.number, "part-quantity": 2})
    assert stock(part) == "5 in stock, 4 reserved, 1 free"
    # Used beyond what was reserved, then reserved again: all of it is to come.
    use_part(job.repairs.get(), part=part, quantity=5, stamp=make.stamp())
    bench.post(reserve, {"part-part": part.number, "part-quantity": 2})
    assert stock(part) == "0 in stock, 2 reserved, 2 missing"
    kept = job.reservations.get()
    assert "Release" in bench.get(job.get_absolute_url()).content.decode()
    bench.post(reverse("bench:release_part", args=[kept.pk]))
    assert stock(part) == "0 in stock"
    early = make.repair(make.job(state=states.DIAGNOSED)).job
    refused = bench.post(
        reverse("bench:reserve_part", args=[early.pk]),
        {"part-part": part.number, "part-quantity": 1},
    )
    assert "once the customer has agreed" in refused.content.decode()
