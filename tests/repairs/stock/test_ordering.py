"""What is to be ordered, ordered once, and received."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from repairs.jobs import states
from repairs.jobs.actions import put_back_part, use_part
from repairs.jobs.reserving import reserve_part
from repairs.stock import actions, ordering
from repairs.stock.models import Part, PartOrder, Supplier
from tests import make
from tests.sent_forms import typed_in

pytestmark = pytest.mark.django_db

TO_ORDER = "/shelf/to-order/"


@pytest.fixture
def owner(client):
    client.force_login(make.user(role="owner"))
    return client


@pytest.fixture
def parts():
    """Caps used four at a time, 18 times in 180 days, and others used seldom."""
    today = timezone.localdate()
    harbour = Supplier.objects.create(name="Harbour Parts")
    caps = make.part("CAP", name="capacitor")
    make.delivery(caps, 90, on=today - timedelta(days=180), supplier=harbour)
    for n in range(18):
        job = make.job(state=states.APPROVED)
        use_part(
            make.repair(job),
            part=Part.objects.get(pk=caps.pk),
            quantity=4,
            stamp=make.stamp(on=today - timedelta(days=10 * n + 1)),
        )
    for n in range(6):
        seldom = make.part(f"RARE-{n}")
        make.delivery(seldom, 1, on=today - timedelta(days=300))
    caps.refresh_from_db()
    assert caps.on_hand == 18
    return caps


def form_of(page, supplier):
    return next(one for one in page.context["forms"] if one.supplier == supplier)


def lines(page):
    return {
        line.part.number: (form.supplier, line.need.level, line.need.quantity)
        for form in page.context["forms"]
        for line in form.lines
    }


def typed(form, **changes):
    """What a browser sends of a form of the list."""
    sent = {"supplier": form.supplier}
    for field in form:
        sent[field.html_name] = "" if field.value() is None else field.value()
    return sent | changes


def test_what_is_at_its_level_is_listed_marked_as_ordered_and_received(owner, parts):
    use = ordering.past_use(on=timezone.localdate())[parts.pk]
    assert use.sizes == (4,) * 18 and use.days == 181
    page = owner.get(TO_ORDER)
    assert lines(page) == {}, "18 are enough"
    actions.scrap(parts, quantity=10, reason="wet", stamp=make.stamp())
    page = owner.get(TO_ORDER)
    supplier, level, quantity = lines(page)["CAP"]
    # In 7 days 0.7 uses of 4 are expected, and at most 2 in 19 of 20 weeks.
    assert (supplier, level) == ("Harbour Parts", 8)
    # In 21 days 2.1 are expected, and at most 5 in 19 of 20 such times.
    assert quantity == 20 - 8
    content = page.content.decode()
    assert "2.50" in content  # its last cost, for the owner

    text = owner.get(f"{TO_ORDER}list.csv").content.decode()
    assert f"Harbour Parts,CAP,capacitor,,,,{quantity},8,0,0,8" in text
    assert "2.5" not in text

    form, name = form_of(page, "Harbour Parts"), f"quantity-{parts.pk}"
    refused = owner.post(TO_ORDER, typed(form, **{name: "-3"})).content.decode()
    assert "greater than or equal to 0" in refused and 'value="-3"' in refused
    refused = owner.post(TO_ORDER, typed(form, **{name: ""})).content.decode()
    assert "Enter the quantity of at least one part." in refused
    refused = owner.post(TO_ORDER, typed(form, expected_on="2020-01-01"))
    assert "not in the past" in refused.content.decode()
    assert not PartOrder.objects.exists()

    expected = timezone.localdate() + timedelta(days=5)
    first = typed(form, expected_on=str(expected), **{name: "40"})
    page = owner.post(TO_ORDER, first, follow=True)
    assert "1 part marked as ordered" in page.content.decode()
    assert "CAP" not in lines(page)
    placed = PartOrder.objects.get()
    assert (placed.supplier.name, placed.expected_on) == ("Harbour Parts", expected)
    # Somebody else had the list open as it was.
    again = owner.post(TO_ORDER, first)
    assert "no longer" in again.content.decode() or "any more" in again.content.decode()
    assert PartOrder.objects.count() == 1

    assert "40, ordered" in owner.get(parts.get_absolute_url()).content.decode()
    for received, outstanding in ((25, 15), (20, 0)):
        actions.receive(
            parts,
            quantity=received,
            unit_cost=Decimal(1),
            on=make.DAY,
            stamp=make.stamp(),
        )
        placed.refresh_from_db()
        assert placed.outstanding == outstanding


def test_two_people_do_not_order_the_same_part_twice(parts):
    seen = {parts: 0}
    facts = {"supplier": "Harbour Parts", "expected_on": None, "stamp": make.stamp()}
    ordering.order({parts: 40}, seen=seen, **facts)
    with pytest.raises(ordering.StaleError, match="on order of CAP"):
        ordering.order({parts: 40}, seen=seen, **facts)
    assert PartOrder.objects.count() == 1


def test_a_part_that_a_job_lacks_is_listed_until_its_order_is_cancelled(owner):
    make.part("NEVER")
    lacking = make.part("LACK")
    job = make.repair(make.job(state=states.APPROVED)).job
    reserve_part(job, part=lacking, quantity=3, stamp=make.stamp())
    page = owner.get(TO_ORDER)
    assert lines(page) == {"LACK": ("", 0, 3)}
    page = owner.post(TO_ORDER, typed(form_of(page, "")), follow=True)
    assert lines(page) == {} and "Nothing is to be ordered." in page.content.decode()
    placed = PartOrder.objects.get()
    page = owner.post(f"/shelf/orders/{placed.pk}/cancel/", follow=True)
    assert lines(page) == {"LACK": ("", 0, 3)}
    page = owner.post(f"/shelf/orders/{placed.pk}/cancel/", follow=True)
    assert "Nothing of this order is outstanding" in page.content.decode()


def test_the_owners_level_and_what_was_put_back(owner, parts):
    today = timezone.localdate()
    repair = make.repair(make.job(state=states.APPROVED))
    used = use_part(repair, part=parts, quantity=4, stamp=make.stamp())
    put_back_part(used[0], stamp=make.stamp())
    assert len(ordering.past_use([parts], on=today)[parts.pk].sizes) == 18
    change = f"/shelf/{parts.pk}/change/"
    sent = typed_in(owner.get(change))
    refused = owner.post(change, sent | {"lead_days": "0"})
    assert "greater than or equal to 1" in refused.content.decode()
    sent = typed_in(refused)
    sent |= {"reorder_level": "30", "lead_days": "21"}
    assert owner.post(change, sent).status_code == 302
    page = owner.get(TO_ORDER)
    assert lines(page)["CAP"][1] == 30 and lines(page)["CAP"][2] > 12
    assert "fixed" in owner.get(parts.get_absolute_url()).content.decode()
    sent = typed_in(owner.get(change)) | {"reorder_level": "0"}
    assert owner.post(change, sent).status_code == 302
    assert "CAP" not in lines(owner.get(TO_ORDER))


def test_costs_stay_hidden_from_who_may_not_see_them(client, parts):
    make.shop(bench_sees_costs=False)
    client.force_login(make.user(role="bench"))
    Part.objects.filter(pk=parts.pk).update(reorder_level=50)
    page = client.get(TO_ORDER)
    assert "CAP" in lines(page)
    assert "2.50" not in page.content.decode() and "Last cost" not in str(page.content)
    client.force_login(make.user(role="counter"))
    assert client.get(TO_ORDER).status_code == 403


def test_the_list_is_a_pdf_for_the_supplier(owner, parts):
    Part.objects.filter(pk=parts.pk).update(reorder_level=50, supplier_number="H-77")
    answer = owner.get(f"{TO_ORDER}list.pdf", {"supplier": "Harbour Parts"})
    assert answer["Content-Type"] == "application/pdf" and answer.content[:4] == b"%PDF"


@pytest.mark.parametrize(
    "wrong",
    [
        {"quantity": 0, "outstanding": 0},
        {"outstanding": 3},
        {"cancelled_on": make.DAY},
        {"expected_on": make.DAY - timedelta(days=1)},
    ],
)
def test_the_database_refuses_an_order_that_makes_no_sense(wrong):
    facts = {"quantity": 2, "outstanding": 2, "ordered_on": make.DAY} | wrong
    with pytest.raises(IntegrityError), transaction.atomic():
        PartOrder.objects.create(part=make.part(), **facts)


# --- by hand, and the page of a supplier ----------------------------------------------


def test_a_part_is_put_on_the_order_list_by_hand(owner, parts):
    rare = Part.objects.get(number="RARE-0")
    address = f"/shelf/{rare.pk}/wanted/"
    assert "RARE-0" not in lines(owner.get(TO_ORDER))
    refused = owner.post(address, {"w-quantity": "many"})
    assert refused.status_code == 200 and 'value="many"' in refused.text
    assert owner.post(address, {"w-quantity": "7"}).url == rare.get_absolute_url()
    supplier, _, quantity = lines(owner.get(TO_ORDER))["RARE-0"]
    assert (supplier, quantity) == ("", 7)
    at = Supplier.objects.create(name="Oddments")
    Part.objects.filter(pk=rare.pk).update(supplier=at)
    assert lines(owner.get(TO_ORDER))["RARE-0"][0] == "Oddments"
    sent = {rare: 7}
    facts = {"seen": {rare: 0}, "supplier": "Oddments", "expected_on": None}
    ordering.order(sent, **facts, stamp=make.stamp())
    rare.refresh_from_db()
    assert rare.wanted == 0 and rare.orders.get().outstanding == 7
    assert "RARE-0" not in lines(owner.get(TO_ORDER))
    owner.post(address, {"w-quantity": "2"})
    owner.post(address, {"w-quantity": "0"})
    assert "RARE-0" not in lines(owner.get(TO_ORDER))
    Part.objects.filter(pk=rare.pk).update(is_retired=True)
    assert "cannot be ordered" in owner.post(address, {"w-quantity": "1"}).text


def test_the_page_of_a_supplier(owner, parts, django_assert_max_num_queries):
    harbour = Supplier.objects.get(name="Harbour Parts")
    delivery = harbour.deliveries.get()
    actions.block_delivery(delivery, reason="bent pins", stamp=make.stamp())
    facts = {"seen": {parts: 0}, "supplier": harbour.name, "expected_on": None}
    ordering.order({parts: 40}, **facts, stamp=make.stamp())
    page = harbour.get_absolute_url()
    change = {"name": "Harbour Parts", "contact": "Orders", "email": "no address"}
    refused = owner.post(
        f"{page}change/", typed_in(owner.get(f"{page}change/")) | change
    )
    assert "valid email" in refused.text and 'value="no address"' in refused.text
    change["email"] = "orders@example.org"
    sent = typed_in(owner.get(f"{page}change/")) | change
    assert owner.post(f"{page}change/", sent).url == page
    with django_assert_max_num_queries(20):
        text = " ".join(owner.get(page).text.split())
    assert "mailto:orders@example.org" in text and "CAP" in text
    assert "blocked" in text and "40" in text
    listed = owner.get("/shelf/suppliers/").text
    assert "Harbour Parts" in listed and page in listed
    lots = owner.get(
        f"/comebacks/suppliers/{harbour.pk}/lots/", headers={"HX-Request": "true"}
    )
    assert lots.status_code == 200
