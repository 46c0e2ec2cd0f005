import pytest

from repairs.customers.models import Customer, Device, DeviceModel
from tests import make

pytestmark = pytest.mark.django_db


def found(words):
    return {customer.name for customer in Customer.objects.containing(words)}


@pytest.mark.parametrize(
    "words", ["MÜLLER", "muller", "Mu\u0308ller", "zoe muller", "müller zoë", "ZOE"]
)
def test_search_ignores_case_and_accents(words):
    make.customer("Zoë Müller")
    make.customer("Bo Larsén")
    assert found(words) == {"Zoë Müller"}


@pytest.mark.parametrize("words", ["%", "_", "%%", "a%a", "\\", "'; --", "[a-z]"])
def test_wildcards_of_the_database_are_plain_characters(words):
    make.customer("Ada Fenwick")
    assert found(words) == set()
    make.customer(f"Odd {words} one")
    assert found(words) == {f"Odd {words} one"}


def test_every_word_must_match():
    make.customer("Ada Fenwick", company="Quill")
    assert found("ada quill") == {"Ada Fenwick"}
    assert found("ada marrow") == set()


def test_an_erased_customer_is_not_found():
    make.customer("Ada Fenwick", erased_on=make.DAY)
    assert found("ada") == set()
    assert not Customer.objects.similar(name="Ada Fenwick").exists()


def test_a_changed_name_is_found_only_by_the_new_one():
    customer = make.customer("Ada Fenwick")
    customer.name = "Ada Quill"
    customer.save(update_fields=["name"])
    assert found("quill") == {"Ada Quill"} and found("fenwick") == set()


@pytest.mark.parametrize(
    ("facts", "is_similar"),
    [
        ({"name": "ADA  fenwick"}, True),
        ({"name": "Ada"}, False),
        ({"name": "Zed", "phone": "+442079460018"}, True),
        ({"name": "Zed", "phone": "+442079460019"}, False),
        ({"name": "Zed", "email": "ADA@fenwick.example"}, True),
        ({"name": ""}, False),
    ],
)
def test_similar_customers_share_phone_email_or_name(facts, is_similar):
    make.customer("Ada Fenwick", phone="+442079460018", email="ada@fenwick.example")
    assert Customer.objects.similar(**facts).exists() is is_similar


def test_the_last_visit_is_the_latest_of_all_jobs():
    device = make.device()
    make.job(device, on=make.DAY.replace(year=2024))
    make.job(device, on=make.DAY)
    nobody = make.customer("Nobody yet")
    visits = dict(Customer.objects.for_list().values_list("pk", "last_visit"))
    assert visits == {device.owner.pk: make.DAY, nobody.pk: None}


def test_a_model_matches_in_any_spelling():
    model = make.device_model("Verstärker", "Tällow", "Marrow 12")
    named = {"kind": "VERSTARKER", "maker": "tallow", "model": "marrow  12"}
    assert DeviceModel.objects.matching(**named) == model
    assert DeviceModel.objects.matching(**named | {"model": "Marrow 13"}) is None


def test_a_device_keeps_its_serial_with_a_new_owner():
    device, buyer = make.device(serial="sn-1"), make.customer("Bo")
    assert device.transfer_to(buyer) is True and device.transfer_to(buyer) is False
    assert Device.objects.with_serial("SN1").get().owner == buyer
