import re
from html import unescape

import pytest
from django.urls import reverse

from repairs.faults.models import Check, Fault, Fix, Symptom, UsualPart
from shopdesk.staff.models import Role
from tests import make

BOOK = "/faults/"


@pytest.fixture(autouse=True)
def bench(client, db):
    user = make.user(Role.BENCH)
    client.force_login(user)
    return user


def codes(page):
    return [row.record.code for row in page.context["table"].rows]


# --- the list ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("params", "found"),
    [
        ({}, ["AUD-HISS", "PWR-JACK"]),
        ({"q": "jack"}, ["PWR-JACK"]),
        ({"q": "socket LOOSE"}, ["PWR-JACK"]),
        ({"q": "%"}, []),
        ({"area": "power"}, ["PWR-JACK"]),
        ({"area": "nonsense"}, ["AUD-HISS", "PWR-JACK"]),
        ({"show": "retired"}, ["OLD-ONE"]),
        ({"show": "every"}, ["AUD-HISS", "OLD-ONE", "PWR-JACK"]),
        ({"q": "\x00"}, ["AUD-HISS", "PWR-JACK"]),
        ({"sort": "notes", "page": "-3"}, ["AUD-HISS", "PWR-JACK"]),
    ],
)
def test_the_book_is_filtered_by_words_area_and_status(client, params, found):
    make.fault("PWR-JACK", name="Charging socket loose", area="power")
    make.fault("AUD-HISS", name="Hiss", area="audio")
    make.fault("OLD-ONE", name="Old", area="power", is_retired=True)
    assert codes(client.get(BOOK, params)) == found


def test_every_sortable_heading_sorts(client):
    make.fix(make.fault())
    Symptom.objects.create(name="Dark")
    Check.objects.create(name="Look")
    for address in (BOOK, reverse("faults:symptoms"), reverse("faults:checks")):
        page = client.get(address).content.decode()
        heads = re.findall(r'href="(\?[^"]*sort=[^"]*)"', page)
        assert heads
        for head in heads:
            assert client.get(address + unescape(head)).status_code == 200


@pytest.mark.parametrize("n", [1, 30])
def test_the_book_has_the_same_query_count_for_1_and_30(
    client, django_assert_num_queries, n
):
    for _ in range(n):
        make.fix(make.fault(area="power"))
    with django_assert_num_queries(7):  # with areas, count, keys, rows
        page = client.get(BOOK, {"per_page": 100})
    assert len(codes(page)) == n


@pytest.mark.parametrize("n", [1, 30])
def test_a_fault_has_the_same_query_count_for_1_and_30_fixes(
    client, django_assert_num_queries, n
):
    fault = make.fault()
    for _ in range(n):
        fix = make.fix(fault)
        UsualPart.objects.create(fix=fix, part=make.part())
        make.repair(fault_=fault, fix=fix)
    # session, person, shop, fault, fixes, usual parts, their parts, symptoms, checks,
    # merged entries, jobs, models, count, keys, rows
    with django_assert_num_queries(15):
        page = client.get(fault.get_absolute_url())
    assert len(page.context["fixes"]) == n


@pytest.mark.parametrize("name", ["symptoms", "checks"])
@pytest.mark.parametrize("n", [1, 30])
def test_the_short_lists_have_the_same_query_count_for_1_and_30(
    client, django_assert_num_queries, name, n
):
    model = {"symptoms": Symptom, "checks": Check}[name]
    for number in range(n):
        model.objects.create(name=f"One {number}")
    with django_assert_num_queries(6):  # session, person, shop, count, keys, rows
        client.get(reverse(f"faults:{name}"))


# --- one fault --------------------------------------------------------------------


def test_a_fault_shows_its_fixes_their_parts_and_its_jobs(client):
    fault = make.fault("PWR-JACK", area="power", hazard="battery", notes="Wiggle it.")
    make.shop(warranty_days_lasting=180)
    fix = make.fix(fault, code="JACK-NEW", minutes=95, hazard="heat")
    UsualPart.objects.create(fix=fix, part=make.part("JACK-5", on_hand=3), quantity=2)
    job = make.repair(fault_=fault, fix=fix).job
    page = client.get(fault.get_absolute_url()).content.decode()
    for text in ("1 h 35 min", "180 days", "JACK-5", "3 in stock", job.number):
        assert text in page, text
    assert "Wiggle it." in page
    assert "disconnect the battery" in page and "Hot air and solder fumes" in page
    assert "Mains voltage" not in page


def test_the_fix_record_is_loaded_and_linked(client):
    fault = make.fault()
    record = reverse("knowledge:fault_record", args=[fault.pk])
    page = client.get(fault.get_absolute_url()).content.decode()
    assert f'hx-get="{record}"' in page and f'<a href="{record}"' in page
    assert client.get(record).status_code == 200
    part = client.get(record, headers={"hx-request": "true"})
    assert part.status_code == 200 and b"<html" not in part.content


def add(client, **entered):
    entered = {
        "code": "pwr-jack-open",
        "name": "Socket open",
        "area": "power",
    } | entered
    return client.post(reverse("faults:add"), entered)


def test_a_fault_is_added_with_its_code_in_capitals(client):
    assert add(client, hazard="mains").status_code == 302
    fault = Fault.objects.get()
    assert (fault.code, fault.hazard) == ("PWR-JACK-OPEN", "mains")


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("code", ""),
        ("code", "two words"),
        ("code", "PWR--X"),
        ("code", "TAKEN"),
        ("code", "X" * 41),
        ("name", ""),
        ("hazard", "bees"),
        ("notes", "x" * 4001),
    ],
)
def test_an_invalid_fault_is_refused_at_its_field(client, field, wrong):
    make.fault("TAKEN")
    page = add(client, **{"cause": "worn tab", field: wrong})
    assert list(page.context["form"].errors) == [field]
    assert "worn tab" in page.content.decode()
    assert Fault.objects.count() == 1


def test_a_changed_code_keeps_its_repairs(client):
    fault = make.fault("OLD-CODE")
    repair = make.repair(fault_=fault)
    entered = {"code": "NEW-CODE", "name": fault.name, "is_retired": "on"}
    client.post(reverse("faults:change", args=[fault.pk]), entered)
    repair.refresh_from_db()
    assert repair.fault.code == "NEW-CODE" and repair.fault.is_retired


def test_a_code_added_by_someone_else_meanwhile_is_reported(client, monkeypatch):
    make.fault("PWR-JACK-OPEN")
    monkeypatch.setattr(Fault, "validate_unique", lambda *args, **kwargs: None)
    monkeypatch.setattr(Fault, "validate_constraints", lambda *args, **kwargs: None)
    page = add(client)
    assert "added it just now" in page.content.decode()
    assert Fault.objects.count() == 1


# --- fixes ------------------------------------------------------------------------


def add_fix(client, fault, **entered):
    facts = {"code": "jack-new", "name": "New socket", "fix_type": "lasting"}
    facts |= {"minutes": "40", "faults": fault.code, "usual": ""}
    return client.post(reverse("faults:add_fix", args=[fault.pk]), facts | entered)


def test_a_fix_is_added_with_its_usual_parts(client):
    fault, other = make.fault("PWR-JACK"), make.fault("PWR-PAD")
    make.part("JACK-5")
    make.part("R-1")
    answer = add_fix(client, fault, usual="jack-5; R-1*3", faults="pwr-jack, PWR-PAD")
    assert answer.url == fault.get_absolute_url()
    fix = Fix.objects.get()
    assert set(fix.faults.all()) == {fault, other}
    usual = {u.part.number: u.quantity for u in fix.usual_parts.all()}
    assert usual == {"JACK-5": 1, "R-1": 3}


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("usual", "NOBODY"),
        ("usual", "R-1*0"),
        ("usual", "R-1*x"),
        ("usual", "R-1*"),
        ("usual", "*2"),
        ("usual", "R-1; R-1*2"),
        ("faults", "NO-SUCH"),
        ("minutes", "-5"),
        ("minutes", "99999"),
        ("minutes", "1_0"),
        ("warranty_days", "9999"),
        ("fix_type", "forever"),
        ("code", ""),
    ],
)
def test_an_invalid_fix_is_refused_at_its_field(client, field, wrong):
    fault = make.fault("PWR-JACK")
    make.part("R-1")
    page = add_fix(client, fault, **{"notes": "mind the tab", field: wrong})
    assert list(page.context["form"].errors) == [field]
    assert "mind the tab" in page.content.decode()
    assert not Fix.objects.exists()


def test_a_quantity_without_a_part_number_is_explained(client):
    page = add_fix(client, make.fault("PWR-JACK"), usual="*2")
    assert page.context["form"].errors["usual"] == ["Enter a part number before *2."]


def test_a_fix_saved_without_changes_stays_the_same(client):
    fault = make.fault("PWR-JACK")
    fix = make.fix(fault, minutes=40, warranty_days=90)
    UsualPart.objects.create(fix=fix, part=make.part("R-1"), quantity=2)
    page = client.get(reverse("faults:change_fix", args=[fix.pk]))
    form = page.context["form"]
    entered = {n: form[n].value() for n in form.fields if form[n].value() is not None}
    entered.pop("is_retired")
    before = Fix.objects.values().get()
    client.post(reverse("faults:change_fix", args=[fix.pk]), entered)
    assert Fix.objects.values().get() == before
    assert list(fix.faults.all()) == [fault]
    assert fix.usual_parts.get().quantity == 2


def test_removed_parts_and_faults_are_taken_from_a_fix(client):
    fault = make.fault("PWR-JACK")
    fix = make.fix(fault)
    UsualPart.objects.create(fix=fix, part=make.part("R-1"), quantity=2)
    entered = {"code": fix.code, "name": "n", "fix_type": "stopgap", "minutes": "5"}
    client.post(reverse("faults:change_fix", args=[fix.pk]), entered)
    fix.refresh_from_db()
    assert fix.fix_type == "stopgap"
    assert not fix.faults.exists() and not fix.usual_parts.exists()


def test_an_existing_fix_is_added_to_another_fault(client):
    fault, fix = make.fault(), make.fix(make.fault())
    address = reverse("faults:add_fix", args=[fault.pk])
    client.post(address, {"existing": "1", "existing-fix": fix.pk})
    assert list(fault.fixes.all()) == [fix]
    page = client.post(address, {"existing": "1", "existing-fix": fix.pk})
    assert page.context["existing"].errors and Fix.objects.count() == 1


# --- symptoms and checks ----------------------------------------------------------


def test_a_symptom_is_added_renamed_and_retired(client):
    client.post(reverse("faults:add_symptom"), {"name": "No light"})
    symptom = Symptom.objects.get()
    entered = {"name": "No light at all", "is_retired": "on"}
    client.post(symptom.get_absolute_url(), entered)
    symptom.refresh_from_db()
    assert (symptom.name, symptom.is_retired) == ("No light at all", True)
    page = client.post(reverse("faults:add_symptom"), {"name": "No light at all"})
    assert "name" in page.context["form"].errors


def test_a_check_is_added_with_its_results(client):
    entered = {"name": "Diode test", "minutes": "3", "results": "open ;shorted; fine;"}
    client.post(reverse("faults:add_check"), entered)
    assert Check.objects.get().results == "open; shorted; fine"


@pytest.mark.parametrize("results", ["fine", "fine; Fine"])
def test_a_check_needs_two_different_results(client, results):
    entered = {"name": "Look at it", "minutes": "3", "results": results}
    page = client.post(reverse("faults:add_check"), entered)
    assert list(page.context["form"].errors) == ["results"]
    assert "Look at it" in page.content.decode() and not Check.objects.exists()


# --- who may ----------------------------------------------------------------------


def test_the_counter_reads_the_book_but_cannot_change_it(client):
    fault = make.fault("PWR-JACK")
    fix = make.fix(fault)
    client.force_login(make.user(Role.COUNTER))
    page = client.get(fault.get_absolute_url())
    assert page.status_code == 200
    for address in (
        reverse("faults:add"),
        reverse("faults:change", args=[fault.pk]),
        reverse("faults:add_fix", args=[fault.pk]),
        reverse("faults:change_fix", args=[fix.pk]),
        reverse("faults:add_symptom"),
        reverse("faults:add_check"),
    ):
        assert client.post(address, {"code": "X", "name": "X"}).status_code == 403
        assert address not in page.content.decode()
    fault.refresh_from_db()
    assert fault.code == "PWR-JACK" and not Symptom.objects.exists()
