import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from repairs.jobs.models import Job
from tests import make


def found(counter, page, **typed):
    typed = {name.replace("__", "-"): value for name, value in typed.items()}
    return counter.client.get(reverse(f"intake:{page}"), typed).text


@pytest.mark.parametrize(
    "words",
    ["muller", "MÜLLER zoe", "quill", "zoe@qu", "7946 0018", "0207946", "+44 20 7946"],
)
def test_a_customer_is_found_by_any_part_without_case_or_accents(counter, words):
    make.customer(
        "Zoë Müller",
        company="Quill GmbH",
        email="zoe@quill.example",
        phone="+442079460018",
    )
    make.customer("Bo Larsén", phone="+442079461111")
    text = found(counter, "find_customer", query=words)
    assert "Zoë Müller" in text and "020 7946 0018" in text
    if "+44" not in words and words != "0207946":
        assert "Bo Larsén" not in text


def test_the_last_digits_of_a_phone_are_enough(counter):
    make.customer("Ada Fenwick", phone="+442079460018")
    make.customer("Bo Larsén", phone="+442079461823")
    text = found(counter, "find_customer", query="0018")
    assert "Ada Fenwick" in text and "Bo Larsén" not in text


def test_two_customers_with_one_phone_are_both_shown(counter):
    make.customer("Ada Fenwick", phone="+442079460018")
    make.customer("Bo Larsén", phone="+442079460018")
    text = found(counter, "find_customer", query="020 7946 0018")
    assert "Ada Fenwick" in text and "Bo Larsén" in text
    again = counter.press("find", query="020 7946 0018")
    assert again.text.count('value="customer:') >= 2
    assert 'name="customer" value=""' in again.text


def test_wildcards_find_only_themselves(counter):
    make.customer("Ada Fenwick")
    assert "Ada" not in found(counter, "find_customer", query="%%")
    assert "Ada" not in found(counter, "find_customer", query="__")


def test_a_similar_customer_is_shown_while_typing(counter):
    make.customer("Ada Fenwick", phone="+442079460018")
    text = found(counter, "find_customer", c__phone="020 7946 0018", c__name="Zed")
    assert "Ada Fenwick" in text and "No, new customer" in text
    assert "Ada" not in found(counter, "find_customer", c__name="Zed")


def test_a_known_serial_shows_the_earlier_jobs(counter):
    device = make.device(serial="SN-12345")
    old = counter.past(device, days_ago=400, warranty_days=90)
    new = counter.past(device, days_ago=41)
    text = found(counter, "find_device", d__serial="sn 12345")
    assert f'name="device" value="{device.pk}"' in text
    assert old.job.number in text and new.job.number in text
    assert ">41<" in text and ">400<" in text
    assert "not in warranty" in text and "in warranty</span> until" in text
    assert "Registered to Ada Fenwick" in text
    checked = text.split("checked")[0].rsplit("value=", 1)[1]
    assert checked.startswith(f'"{new.pk}"')


def test_an_unknown_serial_says_that_the_device_is_new(counter):
    text = found(counter, "find_device", d__serial="QQ-9", customer="new", device="new")
    assert "on record. A new device will be added" in text
    assert 'name="device" value="new"' in text


@pytest.mark.parametrize(
    ("typed", "on_record"), [("S0I", "SOI"), ("S01", "SOI"), ("5O1", "SOI")]
)
def test_a_similar_serial_is_offered_but_not_chosen(counter, typed, on_record):
    device = make.device(serial=on_record)
    text = found(counter, "find_device", d__serial=typed)
    assert f'value="device:{device.pk}"' in text and "Is it this one?" in text
    assert f'name="device" value="{device.pk}"' not in text


def test_one_serial_of_two_makers_is_a_choice(counter):
    one = make.device(serial="77")
    two = make.device(serial="77", model=make.device_model(maker="Tallow", model="T"))
    text = found(counter, "find_device", d__serial="77")
    assert f"device:{one.pk}" in text and f"device:{two.pk}" in text
    assert 'name="device" value=""' in text


def test_a_device_in_the_shop_is_recognized(counter):
    job = make.job(make.device(serial="77"))
    assert job.number in found(counter, "find_device", d__serial="77")


def test_typing_changes_nothing(counter):
    make.customer("Ada Fenwick")
    found(counter, "find_customer", query="fenw", step="book")
    found(counter, "find_device", d__serial="77", step="book")
    assert not Job.objects.exists()


def test_htmx_gets_a_fragment_only(counter):
    page = reverse("intake:book_in")
    typed = {"step": "find", "query": "nobody"}
    part = counter.client.post(page, typed, headers={"HX-Request": "true"}).text
    whole = counter.client.post(page, typed).text
    assert "<html" not in part and 'id="book-in"' in part
    assert "<html" in whole and 'id="book-in"' in whole


def test_a_query_without_match_starts_a_new_customer(counter):
    for query, entry in {
        "Nils Ny": "Nils Ny",
        "nils@ny.example": "nils@ny.example",
        "02079460999": "020 7946 0999",
    }.items():
        assert f'value="{entry}"' in counter.press("go", query=query).text


def test_entries_stay_while_searching_and_choosing(counter):
    device = make.device()
    typed = {
        "complaint": "Hums",
        "agreed_diagnosis_fee": "12,50",
        "due_on": "2031-02-03",
        "has_mains_voltage": "on",
        "counter_tries": "abc",
    }
    text = counter.press(f"customer:{device.owner.pk}", **typed).text
    assert "Hums" in text and 'value="12,50"' in text and 'value="2031-02-03"' in text
    assert 'value="abc"' in text
    assert text.split('name="has_mains_voltage"')[1].split(">")[0].endswith("checked")
    assert "problem" not in text


BUTTONS = [
    {"step": "find", "query": "fenw"},
    {"step": "find", "query": "Nils Ny"},
    {"step": "find", "query": "SN-1"},
    {"step": "look", "d-serial": "SN-1", "customer": "new", "c-phone": "+442079460018"},
    {"step": "look", "d-serial": "SN-2", "customer": "new"},
    {"step": "book", "d-serial": "SN-I", "customer": "new", "device": "new"},
]
TYPING = {
    "find_customer": [{"query": "fenw"}, {"query": "SN-1"}, {"c-name": "Ada Fenwick"}],
    "find_device": [{"d-serial": "SN-1"}, {"d-serial": "SN-I", "customer": "new"}],
}


def test_no_htmx_answer_needs_more_than_15_queries(counter):
    device = make.device(make.customer("Ada Fenwick"), serial="SN-1")
    counter.past(device, days_ago=40)
    counter.past(device, days_ago=80)
    client, headers = counter.client, {"HX-Request": "true"}
    page = reverse("intake:book_in")
    client.get(page)  # the first request of a session makes one more
    answers = [(client.post, page, entries) for entries in BUTTONS]
    for name, typed in TYPING.items():
        url = reverse(f"intake:{name}")
        answers += [(client.get, url, entries) for entries in typed]
    offenders = {}
    for send, url, entries in answers:
        with CaptureQueriesContext(connection) as queries:
            answer = send(url, entries, headers=headers)
        assert answer.status_code == 200 and "<html" not in answer.text
        if len(queries) > 15:
            offenders[url, str(entries)] = [query["sql"] for query in queries]
    assert offenders == {}
