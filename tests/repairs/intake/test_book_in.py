from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.intake import actions
from repairs.jobs import states
from repairs.jobs.models import AccessCode, Job, JobTransition, ReturnAssessment
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Series
from tests import make

NEW = {
    "customer": "new",
    "device": "new",
    "c-name": "Zoë Müller",
    "c-phone": "020 7946 0018",
    "c-preferred_contact": "phone",
    "d-serial": "NW-77",
    "d-kind": "laptop",
    "d-maker": "Norwind",
    "d-model": "Slate 14",
    "complaint": "Shuts off\nwhen it is warm",
}


def counts():
    kinds = (
        Customer,
        DeviceModel,
        Device,
        Job,
        JobTransition,
        ReturnAssessment,
        AccessCode,
    )
    return [kind.objects.count() for kind in kinds]


def test_a_new_customer_and_device_are_saved_with_the_job(counter):
    answer = counter.press("book", **NEW)
    job = Job.objects.get()
    assert answer.url == reverse("intake:booked", args=[job.pk])
    assert (job.customer.name, job.customer.phone) == ("Zoë Müller", "+442079460018")
    assert job.device.serial == "NW-77" and job.device.owner == job.customer
    assert job.complaint == "Shuts off\nwhen it is warm"
    assert job.agreed_diagnosis_fee == Decimal(25) and job.booked_in_on == counter.today
    assert job.number == f"{counter.today:%y}-00001"
    step = job.transitions.get()
    assert (step.from_state, step.to_state, step.by) == (
        "",
        "booked_in",
        job.booked_in_by,
    )


def test_a_returning_customer_brings_a_known_device(counter):
    device = make.device()
    counter.book_in(device.owner, device)
    job = Job.objects.get()
    assert (job.customer, job.device) == (device.owner, device)
    assert Customer.objects.count() == Device.objects.count() == 1


def test_the_same_form_sent_twice_is_one_job(counter):
    device, key = make.device(), uuid4()
    first = counter.book_in(device.owner, device, key=key)
    made = counts()
    other = make.device()
    again = counter.book_in(other.owner, other, key=key)
    assert again.url == first.url and counts()[3:] == made[3:]
    assert "Already booked in as job" in counter.client.get(again.url).text


def test_a_new_customer_sent_twice_is_saved_once(counter):
    key = uuid4()
    first = counter.press("book", key=key, **NEW)
    made = counts()
    again = counter.press("book", key=key, **NEW)
    assert again.url == first.url and counts() == made


def test_two_simultaneous_sendings_give_one_job(counter, monkeypatch):
    """As if the second had looked before the first was written down."""
    device, key = make.device(), uuid4()
    facts = {"customer": device.owner, "device": device, "stamp": make.stamp()}
    job, is_new = actions.book_in(key, job=Job(complaint="x"), **facts)
    assert is_new
    real, looks = Job.objects.filter, []

    def blind_once(*args, **kwargs):
        looks.append(kwargs)
        return Job.objects.none() if len(looks) == 1 else real(*args, **kwargs)

    monkeypatch.setattr(Job.objects, "filter", blind_once)
    other = make.device()
    facts |= {"customer": other.owner, "device": other}
    made = counts()
    same, is_new = actions.book_in(key, job=Job(complaint="x"), **facts)
    assert (same, is_new) == (job, False)
    assert counts() == made


def test_nothing_is_saved_if_one_part_is_refused(counter, monkeypatch):
    def refuse(*args, **kwargs):
        raise RefusedError("Not today.")

    monkeypatch.setattr(actions, "store_access_code", refuse)
    before = counts()
    answer = counter.press("book", **NEW, data_access="yes", access_code="1234")
    assert answer.status_code == 200 and "Not today." in answer.text
    assert "Zoë Müller" in answer.text and "NW-77" in answer.text
    assert counts() == before


def test_an_access_code_is_stored_only_with_consent(counter):
    device = make.device()
    no = counter.book_in(device.owner, device, access_code="7294-Marmalade")
    assert "only if the customer allows access" in no.text
    assert not Job.objects.exists()
    counter.book_in(
        device.owner, device, access_code="7294-Marmalade", data_access="yes"
    )
    stored = bytes(AccessCode.objects.get(job=Job.objects.get()).ciphertext)
    assert b"Marmalade" not in stored


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ({"due_on": "0001-01-01"}, "Enter a date from 1990-01-01"),
        ({"due_on": "9999-12-31"}, "Enter a date from 1990-01-01"),
        ({"due_on": "tomorrow"}, "Enter a valid date"),
        ({"agreed_diagnosis_fee": "-5"}, "Enter at least 0"),
        ({"agreed_diagnosis_fee": "99999999999"}, "Enter at most 100000"),
        ({"agreed_diagnosis_fee": "1e5"}, "an amount such as 1234.50"),
        ({"agreed_diagnosis_fee": "NaN"}, "an amount such as 1234.50"),
        ({"agreed_diagnosis_fee": "9" * 400}, "an amount such as 1234.50"),
        (
            {"counter_failures": "3", "counter_tries": "2"},
            "Failures cannot exceed tries",
        ),
        ({"counter_failures": "3"}, "Enter both"),
        ({"counter_tries": "0", "counter_failures": "0"}, "greater than or equal to 1"),
        ({"counter_tries": "99999999999999999999"}, "less than or equal to 999"),
        ({"complaint": " "}, "Enter the complaint"),
        ({"complaint": "x" * 2001}, "at most 2000 characters"),
        ({"complaint": "\x00\u200b"}, "Enter the complaint"),
        ({"came_by": "balloon"}, "Select a valid choice"),
    ],
)
def test_invalid_input_is_explained_and_entries_are_kept(counter, typed, message):
    device = make.device()
    answer = counter.book_in(device.owner, device, condition="Cracked lid", **typed)
    assert answer.status_code == 200
    assert message in answer.text.replace("&#x27;", "'").replace("’", "'")
    assert "Cracked lid" in answer.text and "Error:" in answer.text
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    ("phone", "message"),
    [
        ("12", "too few digits"),
        ("ring me", "not a phone number"),
        ("020 7946 00180018", "too many digits"),
        ("020 7946 0018 ext 5", "without its extension"),
    ],
)
def test_an_invalid_phone_is_explained(counter, phone, message):
    answer = counter.press("book", **NEW | {"c-phone": phone})
    assert message in answer.text and phone in answer.text
    assert not Customer.objects.exists()


def test_a_foreign_phone_is_saved_and_shown_with_its_country(counter):
    counter.press("book", **NEW | {"c-phone": "+31 20 123 4567"})
    customer = Customer.objects.get()
    assert customer.phone == "+31201234567"
    assert "+31 20 123 4567" in counter.client.get(customer.get_absolute_url()).text


def test_a_customer_without_contact_is_refused(counter):
    answer = counter.press("book", **NEW | {"c-phone": ""})
    assert "Enter a phone number, an email or a postal address." in answer.text
    assert not Customer.objects.exists()


def test_an_email_alone_becomes_the_preferred_contact(counter):
    counter.press("book", **NEW | {"c-phone": "", "c-email": "zoe@quill.example"})
    assert Customer.objects.get().preferred_contact == "email"


def test_customer_and_device_are_required(counter):
    answer = counter.press("book", complaint="Broken")
    assert "Select or add a customer" in answer.text
    assert "Select or add a device" in answer.text
    assert not Job.objects.exists()


def test_a_customer_with_the_same_phone_is_offered_and_never_merged(counter):
    ada = make.customer(phone="+442079460018")
    answer = counter.press("book", **NEW)
    assert "A similar customer exists. Select it" in answer.text
    assert f'value="customer:{ada.pk}"' in answer.text
    assert Customer.objects.count() == 1 and not Job.objects.exists()
    counter.press("book", **NEW, is_another="on")
    assert set(Customer.objects.values_list("name", "phone")) == {
        ("Ada Fenwick", "+442079460018"),
        ("Zoë Müller", "+442079460018"),
    }


@pytest.mark.parametrize(
    "facts",
    [
        {"name": "ZOE MULLER"},
        {"name": "Somebody", "email": "Zoe@Quill.example"},
    ],
)
def test_a_customer_with_the_same_name_or_email_is_offered(counter, facts):
    make.customer(**facts)
    answer = counter.press("book", **NEW | {"c-email": "zoe@quill.example"})
    assert "A similar customer exists. Select it" in answer.text
    assert Customer.objects.count() == 1


def test_part_of_a_name_is_not_similar(counter):
    make.customer("Zoë")
    counter.press("book", **NEW)
    assert Customer.objects.count() == 2


def test_a_model_in_another_spelling_is_not_added_twice(counter):
    make.device_model("laptop", "Norwind", "Slate 14")
    counter.press("book", **NEW | {"d-maker": "NORWIND", "d-model": "slate  14"})
    assert DeviceModel.objects.count() == 1 and Device.objects.count() == 1


def test_a_known_serial_is_never_added_twice(counter):
    device = make.device(serial="NW-77")
    counter.past(device, days_ago=40)
    answer = counter.press("book", **NEW)
    assert "has been here before. Check its past jobs" in answer.text
    assert "in warranty" in answer.text
    assert f'name="device" value="{device.pk}"' in answer.text
    assert Device.objects.count() == 1 and Job.objects.count() == 1


def test_a_similar_serial_is_offered_first(counter):
    device = make.device(serial="NW-0O1I")
    answer = counter.press("book", **NEW | {"d-serial": "NW-OO11"})
    assert f'value="device:{device.pk}"' in answer.text
    assert Device.objects.count() == 1
    counter.press("book", **NEW | {"d-serial": "NW-OO11"}, is_another_device="on")
    assert Device.objects.count() == 2


def test_the_history_stays_with_the_device(counter):
    device, buyer = make.device(), make.customer("Bo Larsén")
    counter.past(device, days_ago=40)
    shown = counter.press(f"device:{device.pk}", customer=buyer.pk)
    assert "Registered to Ada Fenwick" in shown.text
    answer = counter.book_in(buyer, device)
    device.refresh_from_db()
    assert device.owner == buyer and device.jobs.count() == 2
    assert device.jobs.order_by("id").first().customer.name == "Ada Fenwick"
    after = counter.client.get(answer.url).text
    assert "Ada Fenwick → Bo Larsén" in after


def test_a_return_is_linked_to_the_repair_in_warranty(counter):
    device = make.device()
    counter.past(device, days_ago=400, warranty_days=90)
    covered = counter.past(device, days_ago=40, fault="No sound")
    counter.book_in(device.owner, device)
    made = ReturnAssessment.objects.get()
    assert (made.earlier, made.assessment, made.is_in_warranty) == (
        covered,
        "undecided",
        True,
    )
    assert made.assessed_on == counter.today


def test_the_counter_can_choose_no_earlier_repair(counter):
    device = make.device()
    counter.past(device, days_ago=40)
    counter.book_in(device.owner, device, against="")
    assert Job.objects.open().count() == 1 and not ReturnAssessment.objects.exists()


def test_a_return_out_of_warranty_can_be_linked(counter):
    device = make.device()
    old = counter.past(device, days_ago=400, warranty_days=90)
    counter.book_in(device.owner, device, against=old.pk)
    made = ReturnAssessment.objects.get()
    assert (made.earlier, made.is_in_warranty) == (old, False)


@pytest.mark.parametrize("days_after", [0, 1])
def test_the_last_day_of_warranty_counts_and_the_next_does_not(counter, days_after):
    device = make.device()
    old = counter.past(device, days_ago=30 + days_after, warranty_days=30)
    counter.book_in(device.owner, device, against=old.pk)
    assert ReturnAssessment.objects.get().is_in_warranty is (days_after == 0)


def test_a_repair_of_another_device_cannot_be_linked(counter):
    device, other = make.device(), make.device()
    foreign = counter.past(other, days_ago=10)
    counter.book_in(device.owner, device, against=foreign.pk)
    assert not ReturnAssessment.objects.exists()


def test_a_device_in_the_shop_is_not_booked_in_again(counter):
    device = make.device()
    here = make.job(device)
    answer = counter.book_in(device.owner, device)
    assert here.number in answer.text and "Hand it over first" in answer.text
    assert Job.objects.count() == 1
    with pytest.raises(RefusedError, match=here.number):
        actions.book_in(
            uuid4(),
            customer=device.owner,
            device=device,
            job=Job(complaint="x"),
            stamp=make.stamp(),
        )
    assert Job.objects.count() == 1 and not Series.objects.exists()


def test_a_device_expected_by_post_arrives(counter):
    device = make.device()
    counter.book_in(device.owner, device, is_expected="on")
    job = Job.objects.get()
    assert (job.state, job.came_by) == (states.EXPECTED, "post")
    page = reverse("intake:record_arrival", args=[job.pk])
    typed = {
        "complaint": "No sound",
        "condition": "Box torn",
        "has_liquid_damage": "on",
    }
    assert counter.client.post(page, typed).url == reverse(
        "intake:booked", args=[job.pk]
    )
    job.refresh_from_db()
    assert (job.state, job.condition, job.has_liquid_damage) == (
        "booked_in",
        "Box torn",
        True,
    )
    assert list(job.transitions.values_list("from_state", "to_state")) == [
        ("", "expected"),
        ("expected", "booked_in"),
    ]


def test_a_device_arrives_once(counter):
    job = make.job(state=states.EXPECTED)
    page = reverse("intake:record_arrival", args=[job.pk])
    for condition in ("First", "Second"):
        counter.client.post(page, {"complaint": "x", "condition": condition})
    job.refresh_from_db()
    assert job.condition == "First" and job.transitions.count() == 1


def test_an_invalid_arrival_is_refused_and_changes_nothing(counter):
    job = make.job(state=states.EXPECTED, complaint="x")
    page = reverse("intake:record_arrival", args=[job.pk])
    answer = counter.client.post(page, {"complaint": "", "due_on": "9999-01-01"})
    assert "Enter a date from" in answer.text
    job.refresh_from_db()
    assert job.state == states.EXPECTED and job.complaint == "x"


def test_following_a_link_never_books_anything_in(counter):
    device = make.device()
    sent = {"step": "book", "customer": device.owner.pk, "device": device.pk}
    answer = counter.client.get(reverse("intake:book_in"), sent | {"complaint": "x"})
    assert answer.status_code == 200 and not Job.objects.exists()
    assert str(device.owner) in answer.text


BAD = ["\x00", "9" * 30, "-1", "new'--", "x" * 10_000, "%_"]


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("name", ["customer", "device", "against", "key", "query"])
def test_invalid_choices_are_ignored(counter, name, bad):
    for step in ("find", "book", "look", "customer:9", "device:x", bad):
        assert counter.press(step, **{name: bad}).status_code == 200
    for part in ("book_in", "find_customer", "find_device"):
        sent = {name: bad, "d-serial": bad, "c-name": bad, "c-phone": bad}
        answer = counter.client.get(reverse(f"intake:{part}"), sent)
        assert answer.status_code == 200
    assert not Job.objects.exists()


def test_an_erased_customer_cannot_be_chosen(counter):
    device = make.device(make.customer(erased_on=counter.today))
    answer = counter.press("find", customer=device.owner.pk)
    assert "Ada Fenwick" not in answer.text


@pytest.mark.parametrize(
    ("shown", "mark"), [("devices", "device:"), ("past", "Socket loose")]
)
def test_the_screen_has_the_same_query_count_for_1_and_30(counter, shown, mark):
    def query_count(n):
        device = make.device()
        for days in range(n):
            if shown == "past":
                counter.past(device, days_ago=10 + days)
            else:
                make.device(device.owner)
        typed = {"device": device.pk} if shown == "past" else {}
        with CaptureQueriesContext(connection) as queries:
            answer = counter.press("find", customer=device.owner.pk, **typed)
        assert answer.text.count(mark) >= n
        return len(queries)

    query_count(1)  # the first request of a session makes one more
    assert query_count(1) == query_count(30)
