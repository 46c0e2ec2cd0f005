import re
from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.jobs import states
from repairs.jobs.actions import use_part
from repairs.jobs.models import PartUsed
from repairs.stock import actions, queries
from repairs.stock.forms import PartForm
from repairs.stock.models import Part, Supplier
from shopdesk.look.forms import saved
from shopdesk.staff.models import Role
from tests import make

PARTS = "/shelf/"


@pytest.fixture(autouse=True)
def bench(client, db):
    user = make.user(Role.BENCH)
    client.force_login(user)
    return user


def page_of(client, address):
    return client.get(address).content.decode()


def numbers(page):
    return [row.record.number for row in page.context["table"].rows]


def send(client, part, verb, **entered):
    prefix = verb[0]
    entered.setdefault("last_movement_id", actions.last_movement(part))
    if verb == "receive":
        entered = {"quantity": "5", "unit_cost": "1.20", "on": "2026-03-02"} | entered
    else:
        entered = {"reason": "yearly count"} | entered
    entered = {f"{prefix}-{name}": value for name, value in entered.items()}
    return client.post(reverse(f"stock:{verb}", args=[part.pk]), entered)


# --- finding ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("params", "found"),
    [
        ("4k7", ["R-1", "R-2"]),
        ("4700R", ["R-1", "R-2"]),
        ("4.7k 1%", ["R-1"]),
        ("4.7 kΩ 1 %", ["R-1"]),
        ("4,7 kohm", ["R-1", "R-2"]),
        ("104", ["C-1"]),
        ("0.1uF", ["C-1"]),
        ("100nF 1005", ["C-1"]),
        ("6V3", ["C-2"]),
        ("90R@100MHz", ["L-1"]),
        ("RESISTOR", ["R-1", "R-2"]),
        ("ümlaut", ["S-1"]),
        ("mk-77", ["S-1"]),
        ("7k4", []),
        ("%", []),
        ("_", []),
    ],
)
def test_a_part_is_found_by_words_and_by_its_value_in_any_notation(
    client, params, found
):
    make.part("R-1", name="resistor, thick film", value="4700R 1\u00a0% 0402")
    make.part("R-2", name="resistor, thick film", value="4k7 0805")
    make.part("C-1", name="capacitor, ceramic", value="100n 16V X7R 0402")
    make.part("C-2", name="capacitor, ceramic", value="22uF 6.3V X5R")
    make.part("L-1", name="choke, common mode", value="90R@100MHz")
    make.part("S-1", name="socket Umlaut", maker_number="MK-77")
    page = client.get(PARTS, {"q": params})
    if params in "%":  # a per cent sign stands in a value
        found = ["R-1"]
    assert numbers(page) == found


def test_parts_out_of_stock_and_retired_ones_can_be_listed(client):
    make.part("FULL", on_hand=3)
    make.part("EMPTY")
    make.part("OLD", is_retired=True)
    assert numbers(client.get(PARTS)) == ["EMPTY", "FULL"]
    assert numbers(client.get(PARTS, {"show": "none"})) == ["EMPTY"]
    assert numbers(client.get(PARTS, {"show": "retired"})) == ["OLD"]
    assert len(numbers(client.get(PARTS, {"show": "every"}))) == 3


@pytest.mark.parametrize(
    "params",
    [
        {"q": "\x00"},
        {"q": "x" * 5000},
        {"show": "nonsense"},
        {"page": "-1"},
        {"page": "x"},
        {"sort": "password"},
        {"per_page": "1000000000"},
    ],
)
def test_invalid_list_parameters_still_give_a_page(client, params):
    make.part("A")
    assert client.get(PARTS, params).status_code == 200


def test_every_sortable_heading_sorts(client):
    part = make.part("A", on_hand=3)
    make.repair().parts_used.create(part=part)
    for address in (PARTS, part.get_absolute_url()):
        heads = re.findall(r'href="(\?[^"]*sort=[^"]*)"', page_of(client, address))
        assert heads
        for head in heads:
            assert client.get(address + unescape(head)).status_code == 200


@pytest.mark.parametrize("n", [1, 30])
def test_the_list_has_the_same_query_count_for_1_and_30(
    client, django_assert_num_queries, n
):
    for _ in range(n):
        make.part(on_hand=2)
    with django_assert_num_queries(6):  # session, person, shop, count, rows
        page = client.get(PARTS, {"per_page": 100})
    assert len(numbers(page)) == n


@pytest.mark.parametrize("n", [1, 30])
def test_a_part_has_a_bounded_query_count(client, django_assert_max_num_queries, n):
    part = make.part(value="4k7 0402")
    for _ in range(n):
        supplier = Supplier.objects.create(name=f"Supplier {Supplier.objects.count()}")
        delivery = make.delivery(part, 3, supplier=supplier)
        repair = make.repair()
        PartUsed.objects.create(repair=repair, part=part, delivery=delivery)
        make.part(value="4700R 0402")
    with django_assert_max_num_queries(21):
        page = client.get(part.get_absolute_url())
    assert len(page.context["deliveries"]) == n


# --- parts ------------------------------------------------------------------------


def test_a_part_is_added_and_its_value_shown_as_interpreted(client):
    make.part("R-9", value="4k7 1% 0402")
    entered = {"number": "R-1", "name": "resistor", "value": "4700R 5% 1005"}
    entered |= {"bin": "A3", "fixed_price": "0,50", "substitutes": "r-9"}
    page = client.post("/shelf/add/", entered, follow=True)
    part = Part.objects.get(number="R-1")
    assert part.fixed_price == Decimal("0.5")
    assert [p.number for p in part.substitutes.all()] == ["R-9"]
    text = page.content.decode()
    assert "4.7 kΩ, ±5 %, 0402 (1005 metric), series E3" in text


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("number", ""),
        ("number", "two words"),
        ("number", "A*2"),
        ("number", "taken"),
        ("number", "x" * 41),
        ("name", ""),
        ("fixed_price", "-1"),
        ("fixed_price", "1e5"),
        ("fixed_price", "1.000,50"),
        ("substitutes", "NOBODY"),
        ("substitutes", "x" * 2000),
    ],
)
def test_an_invalid_part_is_refused_at_its_field(client, field, wrong):
    make.part("TAKEN")
    entered = {"number": "R-1", "name": "resistor", "bin": "A3"} | {field: wrong}
    page = client.post("/shelf/add/", entered)
    assert list(page.context["form"].errors) == [field]
    assert 'value="A3"' in page.content.decode()
    assert Part.objects.count() == 1


def test_a_change_cannot_set_the_stock(client):
    part = make.part("R-1", on_hand=3)
    entered = {"number": "R-1", "name": "other", "on_hand": "99", "id": "77"}
    client.post(reverse("stock:change", args=[part.pk]), entered)
    part.refresh_from_db()
    assert (part.name, part.on_hand) == ("other", 3)


def test_a_part_cannot_be_its_own_substitute(client):
    part = make.part("R-1")
    entered = {"number": "R-1", "name": "r", "substitutes": "R-1"}
    page = client.post(reverse("stock:change", args=[part.pk]), entered)
    assert "substitutes" in page.context["form"].errors


def test_substitutes_are_listed_with_their_problems(db):
    part = make.part("A", value="4k7 1% 0402")
    named = make.part("B", value="4k7 5% 0402")
    fits = make.part("C", value="4700R 1% 1005")
    make.part("D", value="4700R 1% 0805")
    part.substitutes.add(named)
    (first, against), (second, nothing) = queries.substitutes(part)
    assert (first, second, nothing) == (named, fits, [])
    assert against == ["Tolerance is not within ±1 %."]


# --- moves ------------------------------------------------------------------------


def test_a_delivery_is_received_with_a_new_supplier(client, bench):
    part = make.part()
    answer = send(client, part, "receive", supplier="Brook & Son", lot="2611")
    assert answer.status_code == 302
    delivery = part.deliveries.get()
    assert (delivery.remaining, delivery.unit_cost) == (5, Decimal("1.2"))
    assert delivery.supplier.name == "Brook & Son" and delivery.lot == "2611"
    assert part.movements.get().by == bench


def test_a_delivery_is_received_without_its_cost_by_who_may_not_see_it(client):
    part = make.part(on_hand=1, unit_cost=Decimal("2.75"))
    client.force_login(make.user(Role.COUNTER))
    page = client.get(part.get_absolute_url()).content.decode()
    assert "r-unit_cost" not in page and "entered later" in page
    send(client, part, "receive", unit_cost="9.99", quantity="5", on="2026-03-03")
    delivery = part.deliveries.last()
    assert (delivery.remaining, delivery.unit_cost) == (5, None)
    assert queries.current_costs([part]) == {part.pk: Decimal("2.75")}
    cost = reverse("stock:enter_cost", args=[delivery.pk])
    entered = {f"cost{delivery.pk}-unit_cost": "3.1255"}
    assert client.post(cost, entered).status_code == 403
    delivery.refresh_from_db()
    assert delivery.unit_cost is None


def test_a_missing_cost_is_entered_also_for_repairs_that_are_not_final(client):
    make.shop(markup=Decimal(100))
    part = make.part(on_hand=1, unit_cost=Decimal(2))
    facts = {"on": make.DAY + timedelta(days=1), "stamp": make.stamp()}
    late = actions.receive(part, quantity=5, **facts)
    client.force_login(make.user(Role.OWNER))
    assert "1 part</a> was received without" in page_of(client, "/")
    assert numbers(client.get("/shelf/?show=no_cost")) == [part.number]
    here, gone = (
        make.repair(make.job(state=states.APPROVED), fix=make.fix()) for _ in range(2)
    )
    for repair in (here, gone):
        [used] = use_part(repair, part=part, delivery=late, stamp=make.stamp())
        assert (used.cost, used.price) == (2, 4)
    make.hand_over(gone.job, on=make.DAY + timedelta(days=2))
    url = reverse("stock:enter_cost", args=[late.pk])
    box = f"cost{late.pk}-unit_cost"
    assert box in page_of(client, part.get_absolute_url())
    refused = client.post(url, {box: "1e5"}).content.decode()
    assert 'value="1e5"' in refused and "Enter an amount" in refused
    assert client.post(url, {box: "3.1255"}).status_code == 302
    assert "3.1255" in page_of(client, part.get_absolute_url())
    costs = [(u.cost, u.price) for u in late.used_in.order_by("id")]
    assert costs == [(Decimal("3.1255"), Decimal("6.25")), (2, 4)]
    again = client.post(url, {box: "5"}).content.decode()
    assert "has entered the cost" in again and box not in again
    late.refresh_from_db()
    assert late.unit_cost == Decimal("3.1255")
    assert "received without" not in page_of(client, "/")


def test_a_supplier_name_in_another_spelling_is_the_same_supplier(client):
    part = make.part()
    send(client, part, "receive", supplier="Brook & Son")
    send(client, part, "receive", supplier=" brook  & son")
    assert Supplier.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("quantity", "0"),
        ("quantity", "-3"),
        ("quantity", "1_0"),
        ("quantity", "٣"),
        ("quantity", "9" * 30),
        ("quantity", ""),
        ("unit_cost", "-1"),
        ("unit_cost", "1e5"),
        ("unit_cost", "1,000.50"),
        ("unit_cost", "0.00001"),
        ("on", "0001-01-01"),
        ("on", "9999-12-31"),
        ("on", "2026-02-30"),
        ("on", str(timezone.localdate() + timedelta(days=2))),
        ("lot", "x" * 41),
        ("last_movement_id", "none"),
    ],
)
def test_an_invalid_delivery_is_refused_and_keeps_its_entries(client, field, wrong):
    part = make.part()
    page = send(client, part, "receive", **{"supplier": "Brook", field: wrong})
    assert list(page.context["receive"].errors) == [field]
    assert 'value="Brook"' in page.content.decode()
    assert not part.deliveries.exists() and not Supplier.objects.exists()


def test_the_same_delivery_sent_twice_is_received_once(client):
    part = make.part()
    last_movement_id = actions.last_movement(part)
    send(client, part, "receive", last_movement_id=last_movement_id, supplier="Brook")
    page = send(
        client,
        part,
        "receive",
        last_movement_id=last_movement_id,
        supplier="Other",
        lot="L77",
    )
    assert "changed: 5 in stock" in page.content.decode()
    assert 'value="L77"' in page.content.decode()
    assert part.deliveries.count() == 1
    assert Supplier.objects.count() == 1


def test_after_a_refusal_the_form_can_be_sent_again(client):
    part = make.part()
    send(client, part, "receive", last_movement_id=0)
    page = send(client, part, "receive", last_movement_id=0)
    again = page.context["receive"]["last_movement_id"].value()
    assert send(client, part, "receive", last_movement_id=again).status_code == 302
    assert part.deliveries.count() == 2


def test_a_count_sets_the_stock_and_records_the_reason(client, bench):
    part = make.part(on_hand=5)
    assert send(client, part, "count", counted="3").status_code == 302
    part.refresh_from_db()
    move = part.movements.get(kind="counted")
    assert (part.on_hand, move.quantity, move.reason) == (3, -2, "yearly count")
    assert move.by == bench


@pytest.mark.parametrize(
    "entered", [{"reason": ""}, {"counted": ""}, {"counted": "-1"}]
)
def test_a_count_without_reason_or_number_is_refused(client, entered):
    part = make.part(on_hand=5)
    page = send(client, part, "count", **{"counted": "3"} | entered)
    assert page.context["count"].errors
    part.refresh_from_db()
    assert part.on_hand == 5


def test_no_more_than_the_stock_can_be_scrapped(client):
    part = make.part(on_hand=2)
    page = send(client, part, "scrap", quantity="3")
    assert "only 2 in stock, 3 requested" in page.content.decode()
    assert "Error:" in page.content.decode()
    assert send(client, part, "scrap", quantity="2").status_code == 302
    part.refresh_from_db()
    assert part.on_hand == 0 and part.movements.get(kind="scrapped").quantity == -2


def test_the_delivery_of_another_part_cannot_be_scrapped(client):
    part, other = make.part(on_hand=2), make.part(on_hand=2)
    stranger = other.deliveries.get().pk
    page = send(client, part, "scrap", quantity="1", delivery=stranger)
    assert "delivery" in page.context["scrap"].errors


def test_the_counter_receives_but_does_not_count_or_scrap(client):
    part = make.part(on_hand=2)
    client.force_login(make.user(Role.COUNTER))
    assert send(client, part, "receive").status_code == 302
    assert send(client, part, "count", counted="1").status_code == 403
    assert send(client, part, "scrap", quantity="1").status_code == 403
    page = client.get(part.get_absolute_url()).content.decode()
    assert "Save count" not in page and "Receive delivery" in page
    part.refresh_from_db()
    assert part.on_hand == 7


def test_a_part_shows_the_jobs_that_used_it(client):
    part = make.part(on_hand=2)
    repair = make.repair(make.job(state=states.APPROVED))
    PartUsed.objects.create(repair=repair, part=part, quantity=2)
    page = client.get(part.get_absolute_url()).content.decode()
    assert repair.job.number in page


@pytest.mark.parametrize("page_name", ["part", "change"])
def test_an_unknown_part_gives_404(client, page_name):
    assert client.get(reverse(f"stock:{page_name}", args=[10**15])).status_code == 404


def test_a_number_that_someone_else_just_took_is_reported_at_its_field(rf):
    form = PartForm({"number": "J-5", "name": "Socket"}, shop=make.shop())
    assert form.is_valid()
    make.part(number="J-5")
    assert not saved(rf.post("/"), form)
    assert "just now" in form.errors["number"][0]
