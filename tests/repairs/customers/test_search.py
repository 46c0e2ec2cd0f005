import pytest

from repairs.customers.models import Customer, Device, DeviceModel
from tests import make

pytestmark = pytest.mark.django_db


def called(words):
    return {who.name for who in Customer.objects.called(words)}


@pytest.mark.parametrize(
    "words", ["MÜLLER", "muller", "Mu\u0308ller", "zoe muller", "müller zoë", "ZOE"]
)
def test_search_ignores_case_and_accents(words):
    make.customer("Zoë Müller")
    make.customer("Bo Larsén")
    assert called(words) == {"Zoë Müller"}


@pytest.mark.parametrize("words", ["%", "_", "%%", "a%a", "\\", "'; --", "[a-z]"])
def test_wildcards_of_the_database_are_plain_characters(words):
    make.customer("Ada Fenwick")
    assert called(words) == set()
    make.customer(f"Odd {words} one")
    assert called(words) == {f"Odd {words} one"}


def test_every_word_must_match():
    make.customer("Ada Fenwick", company="Quill")
    assert called("ada quill") == {"Ada Fenwick"}
    assert called("ada marrow") == set()


def test_an_erased_customer_is_not_found():
    make.customer("Ada Fenwick", erased_on=make.DAY)
    assert called("ada") == set()
    assert not Customer.objects.similar(name="Ada Fenwick").exists()


def test_a_changed_name_is_found_only_by_the_new_one():
    who = make.customer("Ada Fenwick")
    who.name = "Ada Quill"
    who.save(update_fields=["name"])
    assert called("quill") == {"Ada Quill"} and called("fenwick") == set()


@pytest.mark.parametrize(
    ("asked", "alike"),
    [
        ({"name": "ADA  fenwick"}, True),
        ({"name": "Ada"}, False),
        ({"name": "Zed", "phone": "+442079460018"}, True),
        ({"name": "Zed", "phone": "+442079460019"}, False),
        ({"name": "Zed", "email": "ADA@fenwick.example"}, True),
        ({"name": ""}, False),
    ],
)
def test_similar_customers_share_phone_email_or_name(asked, alike):
    make.customer("Ada Fenwick", phone="+442079460018", email="ada@fenwick.example")
    assert Customer.objects.similar(**asked).exists() is alike


def test_the_last_visit_is_the_latest_of_all_jobs():
    device = make.device()
    make.job(device, on=make.DAY.replace(year=2024))
    make.job(device, on=make.DAY)
    nobody = make.customer("Nobody yet")
    seen = dict(Customer.objects.with_last_visit().values_list("pk", "last_visit"))
    assert seen == {device.owner.pk: make.DAY, nobody.pk: None}


def test_a_model_matches_in_any_spelling():
    model = make.device_model("Verstärker", "Tällow", "Marrow 12")
    named = {"kind": "VERSTARKER", "maker": "tallow", "model": "marrow  12"}
    assert DeviceModel.objects.matching(**named) == model
    assert DeviceModel.objects.matching(**named | {"model": "Marrow 13"}) is None


def test_a_device_keeps_its_serial_with_a_new_owner():
    device, buyer = make.device(serial="sn-1"), make.customer("Bo")
    assert device.transfer_to(buyer) is True and device.transfer_to(buyer) is False
    assert Device.objects.with_serial("SN1").get().owner == buyer
