"""Finished jobs as the Open Repair Data Standard has them, and nothing of a person."""

import csv
import re
from datetime import date, timedelta
from io import StringIO

import pytest
from django.urls import reverse

from repairs.jobs import states
from repairs.open_data import ords
from repairs.open_data.queries import country_code
from shopdesk.recording.models import TrailEntry
from shopdesk.shop import currencies
from tests import make
from tests.billing.all_kinds import AllKinds
from tests.billing.personal_data.canaries import add_the_rest, plant

pytestmark = pytest.mark.django_db

# The fields of a record and what each must be: aggregated/202507/tableschema.json of
# github.com/openrepair/data at commit 4a5209d, in its order. “Too worn out” is spelt
# so there; we record no barrier.
SCHEMA = {
    "id": r"[a-z]+-[0-9]+",
    "data_provider": r".+",
    "country": r"[A-Z]{3}",
    "partner_product_category": r".+",
    "product_category": r".+",
    "product_category_id": r"[0-9]{1,2}",
    "brand": r".+",
    "year_of_manufacture": r"([0-9]{4})?",
    "product_age": r"([0-9.]+)?",
    "repair_status": r"Fixed|Repairable|End of life|Unknown",
    "repair_barrier_if_end_of_life": (
        r"(Spare parts not available|Spare parts too expensive|No way to open product"
        r"|Repair information not available|Lack of equipment|Too worn out)?"
    ),
    "group_identifier": r".+",
    "event_date": r"[0-9]{4}-[0-9]{2}-[0-9]{2}",
    "problem": r".*",
}
# aggregated/202110/OpenRepairData_v0.3_Product_Categories.csv of the same repository,
# commit af7fbf5; the standard itself writes no spaces around “/”.
PUBLISHED_CATEGORIES = """\
1,"Aircon / dehumidifier"
2,"Battery / charger / adapter"
3,"Decorative or safety lights"
4,"Desktop computer"
5,"Digital compact camera"
6,"DSLR / video camera"
7,Fan
8,"Flat screen"
9,"Hair & beauty item"
10,"Handheld entertainment device"
11,Headphones
12,"Hi-Fi integrated"
13,"Hi-Fi separates"
14,Kettle
15,Lamp
16,Laptop
17,"Large home electrical"
18,Misc
19,Mobile
20,"Musical instrument"
21,"Paper shredder"
22,"PC Accessory"
23,"Portable radio"
24,"Power tool"
25,"Printer / scanner"
26,Projector
27,"Sewing machine"
28,"Small home electrical"
29,"Small kitchen item"
30,Tablet
31,Toaster
32,Toy
33,"TV and gaming-related accessories"
34,Vacuum
35,"Watch / clock"
36,"Coffee Maker"
37,"Food processor"
38,"Games console"
39,"Hair dryer"
40,Iron
"""


@pytest.fixture
def shared(client):
    """Download the records; the value is each as a dictionary."""
    client.force_login(make.user())

    def download(**params):
        answer = client.get(reverse("open_data:export"), params | {"as": "csv"})
        assert "attachment" in answer["Content-Disposition"]
        return list(csv.DictReader(StringIO(answer.getvalue().decode())))

    return download


def finished(outcome, *fix_types, kind="laptop", on=make.DAY, maker="Norwind"):
    model = make.device_model(kind=kind, maker=maker)
    job = make.job(make.device(model=model), on=on)
    for fix_type in fix_types:
        fault = make.fault(name="Socket loose")
        fix = make.fix(fault, name="=Socket resoldered", fix_type=fix_type)
        facts = {"fix": fix, "fix_type": fix_type, "outcome": states.FIXED}
        make.repair(job, fault, **facts)
    make.hand_over(job, on=on + timedelta(days=1), outcome=outcome)
    return job


def test_the_categories_are_those_that_were_published():
    published = {
        int(number): name.replace(" / ", "/").casefold()
        for number, name in csv.reader(StringIO(PUBLISHED_CATEGORIES))
    }
    ours = {number: name.casefold() for number, name in ords.CATEGORIES.items()}
    assert ours == published


@pytest.mark.parametrize(
    ("kind", "category"),
    [
        ("Laptop", "Laptop"),
        ("mobile phone", "Mobile"),
        ("amplifier", "Hi-Fi separates"),
        ("tape deck", "Hi-Fi separates"),
        ("handheld", "Handheld entertainment device"),
        ("games console", "Games console"),
        ("games controller", "TV and gaming-related accessories"),
        ("battery charger", "Battery/charger/adapter"),
        ("Watch/clock", "Watch/clock"),
        ("garden gnome", "Misc"),
    ],
)
def test_a_kind_of_device_belongs_to_a_category(kind, category):
    assert ords.CATEGORIES[ords.category_of(kind)] == category


def test_records_have_the_fields_and_values_of_the_standard(shared):
    make.shop(country="DE", name="The Second Spark")
    finished(states.FIXED, "lasting")
    finished(states.FIXED, "lasting", "stopgap", kind="amplifier")
    finished(states.NOT_REPAIRABLE, kind="phone", maker="")
    for outcome in ("declined", "no_fault_found", "not_fixed", "not_coded"):
        finished(outcome, kind="toothbrush")
    make.job()  # not handed over
    records = shared()
    assert list(records[0]) == list(SCHEMA)
    for record in records:
        for name, pattern in SCHEMA.items():
            assert re.fullmatch(pattern, record[name]), (name, record[name])
        assert (
            ords.CATEGORIES[int(record["product_category_id"])]
            == (record["product_category"])
        )
        assert (record["country"], record["data_provider"]) == (
            "DEU",
            "The Second Spark",
        )
    assert len({record["id"] for record in records}) == len(records)
    assert [record["repair_status"] for record in reversed(records)] == [
        *("Fixed", "Repairable", "End of life"),
        *("Repairable", "Unknown", "Unknown", "Unknown"),
    ]
    first, *_, phone = records[-1], records[-3]
    assert first["problem"] == "Socket loose: =Socket resoldered"
    assert first["event_date"] == str(make.DAY + timedelta(days=1))
    assert (phone["brand"], phone["problem"]) == ("Unknown", "")
    last = TrailEntry.objects.latest("id")
    assert last.values == {"file": "open-repair-data.csv"}


def test_no_cell_is_a_formula(shared):
    finished(states.FIXED, kind="=laptop()", maker="@Norwind")
    [record] = shared()
    assert record["partner_product_category"] == "'=laptop()"
    assert record["brand"] == "'@Norwind"


def test_nothing_of_a_person_is_shared(shared):
    mine = AllKinds().all().device.owner
    add_the_rest(mine)
    planted = plant(mine, letter="a")
    records = shared()
    text = str(records)
    assert len(records) >= 3 and [canary for canary in planted if canary in text] == []


def test_a_period_is_that_of_the_handover(client, shared):
    for day in (1, 10, 20):
        finished(states.FIXED, on=date(2026, 3, day))
    [record] = shared(since="2026-03-03", until="2026-03-20")
    assert record["event_date"] == "2026-03-11"
    params = {"since": "2026-03-03", "until": "2026-03-01"}
    page = client.get(reverse("open_data:export"), params | {"as": "csv"})
    assert "Enter a day that is not before the first." in page.content.decode()


def test_every_country_of_a_shop_has_its_code():
    # ISO 3166-1 has no code for these two parts of Spain.
    without = [code for code in currencies.countries() if not country_code(code)]
    assert without == ["IC", "EA"]
    codes = [country_code(code) for code in currencies.countries()]
    assert len(set(codes)) == len(codes) - 1
    named = {"GB": "GBR", "DE": "DEU", "CH": "CHE", "FR": "FRA", "CD": "COD"}
    assert {code: country_code(code) for code in named} == named
