from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from repairs.customers.models import Customer
from repairs.jobs import states
from tests import make


@pytest.fixture
def desk(client, db):
    make.shop(country="GB")
    client.force_login(make.user("counter"))
    return client


def test_the_list_is_filtered_by_words(desk):
    make.customer("Zoë Müller", phone="+442079460018")
    make.customer("Bo Larsén")
    page = desk.get(reverse("customers:all"), {"q": "muller"}).text
    assert "Zoë Müller" in page and "020 7946 0018" in page and "Larsén" not in page


@pytest.mark.parametrize("bad", ["\x00", "x" * 10_000, "%_", "-1"])
@pytest.mark.parametrize("name", ["q", "page", "per_page", "sort"])
def test_invalid_list_parameters_still_give_a_page(desk, name, bad):
    make.customer("Ada Fenwick")
    answer = desk.get(reverse("customers:all"), {name: bad})
    assert answer.status_code == 200
    customer = Customer.objects.get()
    assert desk.get(customer.get_absolute_url(), {f"j-{name}": bad}).status_code == 200


def query_count(desk, path):
    with CaptureQueriesContext(connection) as queries:
        assert desk.get(path).status_code == 200
    return len(queries)


def test_the_list_has_the_same_query_count_for_1_and_30(desk):
    path = reverse("customers:all") + "?per_page=30"
    make.customer()
    query_count(desk, path)
    before = query_count(desk, path)
    for n in range(29):
        make.job(make.device(make.customer(f"Number {n}", phone="+442079460018")))
    assert desk.get(path).text.count(">Number ") == 29
    assert query_count(desk, path) == before


def test_a_customer_page_has_the_same_query_count_for_1_and_30(desk):
    customer = make.customer()
    make.job(make.device(customer))
    query_count(desk, customer.get_absolute_url())
    before = query_count(desk, customer.get_absolute_url())
    for _ in range(29):
        make.job(make.device(customer))
    assert query_count(desk, customer.get_absolute_url()) == before


def past(device, *, days_ago):
    on = timezone.localdate() - timedelta(days=days_ago)
    repair = make.past_repair(fault := make.fault(), make.fix(fault), on=on, of=device)
    repair.warranty_until = on + timedelta(days=90)
    repair.save()
    return repair


def test_a_device_page_has_the_same_query_count_for_1_and_30(desk):
    device = make.device()
    past(device, days_ago=5)
    query_count(desk, device.get_absolute_url())
    before = query_count(desk, device.get_absolute_url())
    for n in range(29):
        past(device, days_ago=10 + n)
    assert query_count(desk, device.get_absolute_url()) == before


def test_a_device_page_shows_every_visit_and_its_warranty(desk):
    device = make.device(serial="SN-7")
    covered, over = past(device, days_ago=90), past(device, days_ago=91)
    make.job(
        device,
        on=timezone.localdate() - timedelta(days=300),
        state=states.HANDED_OVER,
        outcome=states.NO_FAULT_FOUND,
        handed_over_on=timezone.localdate() - timedelta(days=290),
    )
    here = make.job(device, complaint="It hums")
    page = desk.get(device.get_absolute_url()).text
    assert ">90<" in page and ">91<" in page and ">290<" in page
    assert page.count("</svg>in warranty</span>") == 1
    assert page.count("</svg>not in warranty</span>") == 1
    assert "no fault found" in page and "It hums" in page and "in the shop" in page
    assert page.index(here.number) and covered.job.number in page
    assert over.job.number in page


def test_past_jobs_stay_with_the_previous_owner(desk):
    device, buyer = make.device(), make.customer("Bo Larsén")
    old = make.job(device)
    page = reverse("customers:new_owner", args=[device.pk])
    assert f'value="{buyer.pk}"' in desk.get(page, {"query": "larsen"}).text
    answer = desk.post(page, {"owner": buyer.pk}, follow=True).text
    assert "Owner changed from Ada Fenwick to Bo Larsén." in answer
    device.refresh_from_db()
    old.refresh_from_db()
    assert device.owner == buyer and old.customer.name == "Ada Fenwick"


@pytest.mark.parametrize("bad", ["", "x", "0", "9" * 30, "\x00", "-1"])
def test_an_unknown_owner_changes_nothing(desk, bad):
    device = make.device()
    page = reverse("customers:new_owner", args=[device.pk])
    assert "Customer not found" in desk.post(page, {"owner": bad}).text
    device.refresh_from_db()
    assert device.owner.name == "Ada Fenwick"


def test_a_misread_serial_is_corrected(desk):
    device = make.device(serial="SN-0")
    page = reverse("customers:change_device", args=[device.pk])
    desk.post(page, {"serial": "SN-O", "board_revision": "C"})
    device.refresh_from_db()
    assert (device.serial, device.serial_normalized, device.board_revision) == (
        "SN-O",
        "SNO",
        "C",
    )


def test_the_serial_of_another_device_is_refused(desk):
    make.device(serial="SN-1")
    device = make.device(serial="SN-2")
    page = reverse("customers:change_device", args=[device.pk])
    answer = desk.post(page, {"serial": "sn 1"})
    assert (
        "serial number is already used" in answer.text and 'value="sn 1"' in answer.text
    )
    device.refresh_from_db()
    assert device.serial == "SN-2"


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "x"])
def test_an_invalid_date_is_refused(desk, day):
    device = make.device()
    page = reverse("customers:change_device", args=[device.pk])
    assert "Error:" in desk.post(page, {"out_of_use_on": day}).text
    device.refresh_from_db()
    assert device.out_of_use_on is None


def test_a_changed_customer_is_found_by_the_new_values(desk):
    customer = make.customer(phone="+442079460018")
    page = reverse("customers:change", args=[customer.pk])
    shown = desk.get(page).text
    assert 'value="020 7946 0018"' in shown
    typed = {
        "name": "Ada Quill",
        "phone": "020 7946 0019",
        "preferred_contact": "phone",
    }
    desk.post(page, typed | {"notes": "Two lines\r\nof notes"})
    customer.refresh_from_db()
    assert (customer.name, customer.phone) == ("Ada Quill", "+442079460019")
    assert customer.notes == "Two lines\nof notes"
    assert Customer.objects.containing("quill").get() == customer


@pytest.mark.parametrize(
    "bad",
    [
        {"name": ""},
        {"name": "x" * 121},
        {"email": "not mail"},
        {"phone": "12"},
        {"notes": "x" * 2001},
        {"preferred_contact": "pigeon"},
    ],
)
def test_an_invalid_change_is_refused_and_keeps_its_entries(desk, bad):
    customer = make.customer()
    page = reverse("customers:change", args=[customer.pk])
    typed = {"name": "Zed", "company": "Kept & Co", "preferred_contact": "phone"}
    answer = desk.post(page, typed | bad)
    assert "Error:" in answer.text and "Kept &amp; Co" in answer.text
    assert Customer.objects.get().name == "Ada Fenwick"
