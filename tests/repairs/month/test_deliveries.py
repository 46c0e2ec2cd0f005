"""Deliveries, models and board revisions: the lists and the repairs behind them."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.comebacks.scope import Scope
from repairs.month.report import groups
from repairs.stock.models import Supplier
from shopdesk.shop.models import Shop
from tests import make

pytestmark = pytest.mark.django_db
PAGE = "/comebacks/deliveries/"


def ago(n):
    return timezone.localdate() - timedelta(days=n)


def page_text(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def named(kind, within=90):
    scope = Scope(as_of=timezone.localdate(), within=within)
    found = groups(scope, shop=Shop.current())
    return [one for one in found if one.kind == kind]


def used(of, delivery, *, repairs, back=0, quantity=1, device=None):
    """Repairs with a part of this delivery, so many of which came back."""
    made = []
    for n in range(repairs):
        on = ago(400 - n)
        came = on + timedelta(days=30) if n < back else None
        repair = make.past_repair(*of, on=on, back_on=came, of=device and device())
        if delivery:
            repair.parts_used.create(
                part=delivery.part, delivery=delivery, quantity=quantity
            )
        made.append(repair)
    return made


@pytest.fixture
def deliveries():
    """Two lots of one socket by one supplier, a pair that uses it: one lot is bad."""
    fault = make.fault()
    of = fault, make.fix(fault)
    part = make.part("JCK-1")
    supplier = Supplier.objects.create(name="Oddments & Reels")
    fine = make.delivery(part, 99, lot="A1", supplier=supplier)
    bad = make.delivery(part, 99, lot="B2", supplier=supplier)
    used(of, fine, repairs=60, back=2)
    used(of, bad, repairs=12, back=7)
    return of, fine, bad


def test_the_bad_delivery_comes_first_with_its_counts(owner, deliveries):
    text = page_text(owner.get(PAGE))
    first, second = named("delivery")
    assert (first.name, first.comebacks, first.repairs) == ("B2 of JCK-1", 7, 12)
    assert first.is_bad and not second.is_bad
    assert text.index("B2 of JCK-1") < text.index("A1 of JCK-1")
    assert text.count("too many comebacks</span>") == 1
    assert "Oddments &amp; Reels" in text


def test_a_good_delivery_in_bad_fixes_is_not_blamed(owner, deliveries):
    of, _, bad = deliveries
    fault = make.fault()
    hopeless = fault, make.fix(fault)
    lot = make.delivery(bad.part, 99, lot="C3")
    used(hopeless, lot, repairs=10, back=5)
    used(hopeless, None, repairs=20, back=10)
    found = {one.name: one for one in named("delivery")}
    assert found["C3 of JCK-1"].comebacks == 5
    assert not found["C3 of JCK-1"].is_bad
    assert found["B2 of JCK-1"].is_bad


def test_comebacks_shared_by_two_groups_are_shown_at_both(owner, deliveries):
    of, fine, bad = deliveries
    slate = make.device_model(model="Slate 14")
    boards = [make.device(model=slate, board_revision="24") for _ in range(2)]

    def board():
        return boards[0] if not boards[0].jobs.exists() else boards[1]

    def other_board():
        return make.device(model=slate, board_revision="23")

    used(of, bad, repairs=10, back=8, device=board)
    used(of, None, repairs=40, back=1, device=other_board)
    for kind, other in (("delivery", "board revision"), ("board revision", "delivery")):
        [one] = [one for one in named(kind) if one.is_bad]
        names = {name for name, _ in one.shared}
        assert any(name.startswith(other) for name in names), one
        assert {many for _, many in one.shared} == {8}
    [board_24] = [one for one in named("board revision") if one.is_bad]
    assert (board_24.comebacks, board_24.devices) == (8, 2)
    text = page_text(owner.get("/comebacks/month/"))
    assert "8 of 10 repairs came back, on 2 devices" in text
    assert "8 of these comebacks also belong to delivery B2 of JCK-1." in text
    assert "One of them may be the cause of both" in text


def test_a_single_bad_group_shares_nothing(owner, deliveries):
    [bad, fine] = named("delivery")
    assert (bad.shared, bad.devices, fine.devices) == ((), 7, 0)
    assert "the cause of both" not in page_text(owner.get("/comebacks/month/"))


def test_parts_without_lot_or_supplier_are_left_out(deliveries):
    of, _, bad = deliveries
    nameless = make.delivery(bad.part, 99)
    used(of, nameless, repairs=8, back=6)
    assert len(named("delivery")) == 2
    by_supplier = make.delivery(bad.part, 99, supplier=bad.supplier)
    used(of, by_supplier, repairs=2)
    assert f"received {by_supplier.received_on} of JCK-1" in str(named("delivery"))


def test_two_parts_of_one_delivery_in_a_repair_are_one_repair(deliveries):
    of, _, bad = deliveries
    [repair] = used(of, bad, repairs=1, quantity=2)
    repair.parts_used.create(part=bad.part, delivery=bad)
    [row] = [one for one in named("delivery") if one.key == bad.pk]
    assert row.repairs == 13


def test_each_row_links_to_its_repairs(owner, deliveries):
    of, fine, bad = deliveries
    address = reverse("month:delivery", args=[bad.pk])
    assert f"{address}?as_of={timezone.localdate()}" in page_text(owner.get(PAGE))
    text = page_text(owner.get(address))
    assert "7 of 12 repairs came back" in text
    for used_in in bad.used_in.all():
        assert used_in.repair.job.get_absolute_url() in text
    other = fine.used_in.first().repair.job
    assert f'"{other.get_absolute_url()}"' not in text


def test_models_and_boards_are_compared_with_their_repairs(owner):
    fault = make.fault()
    of = fault, make.fix(fault)
    slate = make.device_model(model="Slate 14")
    leaf = make.device_model(model="Leaf 10")

    def bad_board():
        return make.device(model=slate, board_revision="rev B/2")

    def good_board():
        return make.device(model=slate, board_revision="rev A")

    used(of, None, repairs=12, back=7, device=bad_board)
    used(of, None, repairs=40, back=1, device=good_board)
    used(of, None, repairs=40, back=1, device=lambda: make.device(model=leaf))
    boards = named("board revision")
    assert [(one.name, one.comebacks, one.repairs) for one in boards] == [
        ("Norwind Slate 14, rev B/2", 7, 12),
        ("Norwind Slate 14, rev A", 1, 40),
    ]
    assert [one.is_bad for one in boards] == [True, False]
    models = {one.name: one for one in named("model")}
    assert models["Norwind Slate 14"].comebacks == 8
    assert models["Norwind Slate 14"].repairs == 52
    address = reverse("month:board", args=[slate.pk])
    text = page_text(owner.get(address, {"revision": "rev B/2"}))
    assert "7 of 12 repairs came back" in text
    assert "revision=rev+B%2F2" in page_text(owner.get(PAGE))
    text = page_text(owner.get(reverse("month:model", args=[leaf.pk])))
    assert "1 of 40 repairs came back" in text


def test_no_warning_is_not_presented_as_good_news(owner):
    fault = make.fault()
    lot = make.delivery(make.part(), 9, lot="A1")
    used((fault, make.fix(fault)), lot, repairs=2)
    text = page_text(owner.get(PAGE))
    assert "That does not mean that all are good" in text
    assert "not enough repairs</span>" in text
    assert "as expected</span>" not in text


def test_an_empty_shop_has_a_page(owner):
    text = page_text(owner.get(PAGE))
    assert "No repairs used a part of a delivery" in text
    assert "No repairs on devices with a known board revision." in text


def test_each_list_can_be_sorted_by_itself(owner, deliveries):
    tables = owner.get(PAGE, {"d-sort": "repairs"}).context["tables"]
    assert [row.record.repairs for row in tables[0].rows] == [12, 60]
    tables = owner.get(PAGE, {"d-sort": "-repairs"}).context["tables"]
    assert [row.record.repairs for row in tables[0].rows] == [60, 12]


@pytest.mark.parametrize("name", ["list", "delivery", "model"])
def test_more_rows_need_no_more_queries(owner, name, django_assert_max_num_queries):
    fault = make.fault()
    of = fault, make.fix(fault)
    part = make.part()
    counts = []
    for lots in (1, 29):
        for n in range(lots):
            lot = make.delivery(part, 9, lot=f"{lots}-{n}")
            model = make.device_model(model=f"Slate {lots} {n}")
            used(
                of, lot, repairs=2, back=1, device=lambda m=model: make.device(model=m)
            )
        used(of, lot, repairs=lots, back=1)
        address = {
            "list": PAGE,
            "delivery": reverse("month:delivery", args=[lot.pk]),
            "model": reverse("month:model", args=[model.pk]),
        }[name]
        with django_assert_max_num_queries(60) as queries:
            page_text(owner.get(address))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_a_suspect_delivery_is_shown_where_its_part_is_used(client, deliveries):
    (fault, fix), fine, bad = deliveries
    client.force_login(make.user("bench"))
    fix.usual_parts.create(part=bad.part)
    job = make.repair(make.job(), fault, fix=fix).job
    url, htmx = reverse("month:warnings"), {"HX-Request": "true"}
    for asked in ({"part": bad.part_id}, {"job": job.pk}, {"fault": fault.pk}):
        text = page_text(client.get(url, asked, headers=htmx))
        assert "B2 of JCK-1" in text and "Do not use the" in text
        assert "A1 of JCK-1" not in text
    for asked in ({"part": make.part().pk}, {"part": "x"}, {"job": make.job().pk}, {}):
        assert "JCK-1" not in page_text(client.get(url, asked, headers=htmx))


def test_the_counter_is_told_of_a_bad_board(client):
    fault = make.fault()
    of = fault, make.fix(fault)
    model = make.device_model()

    def board(revision):
        return lambda: make.device(model=model, board_revision=revision)

    used(of, None, repairs=60, back=1, device=board("r1"))
    used(of, None, repairs=12, back=7, device=board("r2"))
    client.force_login(make.user("counter"))
    bad, fine = board("r2")(), board("r1")()
    htmx = {"HX-Request": "true"}

    def says(name, **query):
        text = page_text(client.get(reverse(name), query, headers=htmx))
        return "Norwind Slate 14, r2: 7 of 12 repairs came back" in text

    assert says("month:warnings", device=bad.pk)
    assert not says("month:warnings", device=fine.pk)
    assert says("diagnosis:likely", device=bad.pk)
    names = {"d-kind": "laptop", "d-maker": "Norwind", "d-model": "Slate 14"}
    assert says("diagnosis:likely", **names)  # before the revision is known
    assert not says("diagnosis:likely", **names, **{"d-board_revision": "r1"})
    job = make.job(bad)
    client.force_login(make.user("bench"))
    page = client.get(job.get_absolute_url()).text
    assert f"{reverse('month:warnings')}?device={bad.pk}" in page


def test_the_owner_blocks_a_delivery_and_stock_obeys(client, deliveries):
    (fault, fix), fine, bad = deliveries
    page = bad.part.get_absolute_url()
    client.force_login(make.user("bench"))
    assert "Block delivery" not in client.get(page).text
    blocked = reverse("stock:block", args=[bad.pk])
    assert client.post(blocked, {f"block{bad.pk}-reason": "x"}).status_code == 403
    client.force_login(make.user("owner"))
    assert "This field is required" in client.post(blocked, {}).text
    bad.part.refresh_from_db()
    before = bad.part.on_hand
    client.post(blocked, {f"block{bad.pk}-reason": "too many comebacks"})
    bad.refresh_from_db()
    bad.part.refresh_from_db()
    assert bad.is_blocked and bad.part.on_hand == before - bad.blocked_quantity
    text = " ".join(client.get(page).text.split())
    assert "set aside" in text and f"{bad.blocked_quantity} more blocked" in text
    htmx = {"HX-Request": "true"}
    warned = client.get(reverse("month:warnings"), {"part": bad.part_id}, headers=htmx)
    assert "It is blocked" in page_text(warned)
    # Neither the bench can take it by its lot, nor is the lot received unnoticed.
    repair = make.repair(make.job(), fault, fix=fix)
    taken = {"part-part": "JCK-1", "part-quantity": 1, "part-delivery": "b2"}
    answer = client.post(reverse("bench:use_part", args=[repair.job_id]), taken)
    assert "Lot B2 is blocked: too many comebacks" in answer.text
    assert not repair.parts_used.exists()
    more = {"r-quantity": 5, "r-unit_cost": "1", "r-lot": "b2", "r-on": make.DAY}
    more["r-last_movement_id"] = bad.part.movements.last().pk
    receive = reverse("stock:receive", args=[bad.part_id])
    assert "A delivery of lot B2 is blocked" in client.post(receive, more).text
    assert bad.part.deliveries.count() == 2
    assert client.post(receive, more | {"r-blocked_anyway": "on"}).status_code == 302
    assert bad.part.deliveries.count() == 3
    before += 5
    client.post(reverse("stock:release", args=[bad.pk]))
    bad.part.refresh_from_db()
    assert bad.part.on_hand == before


def test_the_page_of_a_supplier_loads_the_comebacks_of_its_deliveries(
    client, deliveries
):
    _, _, bad = deliveries
    client.force_login(make.user("bench"))
    htmx = {"HX-Request": "true"}
    address = reverse("month:lots", args=[bad.supplier_id])
    assert address in client.get(bad.supplier.get_absolute_url()).text
    text = page_text(client.get(address, headers=htmx))
    assert text.index("B2 of JCK-1") < text.index("A1 of JCK-1")
    assert "7 of 12 repairs came back" in text
    other = Supplier.objects.create(name="Harbour")
    assert "JCK-1" not in page_text(
        client.get(reverse("month:lots", args=[other.pk]), headers=htmx)
    )
    warned = client.get(
        reverse("month:warnings"), {"supplier": bad.supplier_id}, headers=htmx
    )
    assert "B2 of JCK-1" in page_text(warned)
