"""What the pages of the trail show, and to whom."""

import csv
from datetime import UTC, datetime
from decimal import Decimal
from functools import partial
from io import BytesIO, StringIO

import openpyxl
import pytest
import time_machine
from django.urls import reverse

from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import Job, Labour
from shopdesk.lookup import in_batches
from shopdesk.recording.acting import acting
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.recording.writing import erase_details, key_of, record_event
from shopdesk.shop.models import Shop, TaxRate
from shopdesk.staff.models import Role
from tests import make


@pytest.fixture
def signed_in(client):
    def sign_in(role):
        client.force_login(make.user(role))
        return client

    return sign_in


def shown(response):
    """Who did what, of each entry on the page: name, record, lines."""
    assert response.status_code == 200
    rows = response.context["table"].paginated_rows
    return [(row.record.who, row.record.about, row.record.lines) for row in rows]


def history(client, record):
    kind, pk = key_of(record)
    found = client.get(reverse("trail:record", args=[kind, pk]))
    return [lines for _, _, lines in shown(found)]


def every(client, **query):
    return shown(client.get(reverse("trail:all"), query))


def test_a_change_is_told_in_plain_words(ada, signed_in):
    shop = make.shop(country="GB", locale="en_GB", currency="GBP")
    with time_machine.travel(datetime(2026, 3, 12, 14, 5, tzinfo=UTC)):
        customer = make.customer(phone="+441632960123", notes="Rings twice.")
        customer.phone, customer.notes, customer.company = "+441632960999", "", "Quay"
        customer.preferred_contact = Customer.Contact.POST
        customer.save()
    client = signed_in(Role.OWNER)
    assert history(client, customer) == [
        [
            "company set to ‘Quay’",
            "phone changed from ‘+44 1632 960123’ to ‘+44 1632 960999’",
            "preferred contact changed from ‘phone’ to ‘post’",
            "notes ‘Rings twice.’ removed",
        ],
        [
            "created",
            "name: ‘Ada Fenwick’",
            "phone: ‘+44 1632 960123’",
            "preferred contact: ‘phone’",
            "notes: ‘Rings twice.’",
        ],
    ]
    url = reverse("trail:record", args=key_of(customer))
    page = client.get(url).content.decode()
    assert "12 Mar 2026, 14:05" in page
    assert "Ada Brook" in page
    Shop.objects.filter(pk=shop.pk).update(hourly_rate=Decimal("72.50"))
    TaxRate.objects.create(kind="standard", rate=20, starts_on=make.DAY)
    assert history(client, shop)[:2] == [
        [
            "tax rate standard rate 20 % created",
            "kind: ‘standard rate’",
            "percent: 20",
            "from: 2 Mar 2026",
        ],
        ["hourly rate changed from £68.00 to £72.50"],
    ]


def test_the_history_of_a_job_shows_what_belongs_to_it_and_links_by_name(
    ada, signed_in
):
    repair = make.repair()
    job, fix = repair.job, make.fix(code="JACK-NEW", name="New jack")
    labour = Labour.objects.create(job=job, repair=repair, minutes=12, by=ada)
    repair.fix = fix
    repair.save()
    number = labour.pk
    labour.delete()
    client = signed_in(Role.BENCH)
    lines = history(client, job)
    assert lines[0][0] == f"labour {number} deleted"
    assert "minutes: 12" in lines[0] and "by: ‘Ada Brook’" in lines[0]
    assert lines[1] == [
        f"repair {repair.fault.code} / JACK-NEW:",
        "fix set to ‘JACK-NEW New jack’",
    ]
    assert lines[-1][0] == "created"
    assert "device: ‘Norwind Slate 14" in "".join(lines[-1])


def test_costs_are_shown_to_who_may_see_them(ada, signed_in):
    repair = make.repair(outcome=states.NOT_FIXED)
    repair.cost = Decimal("4711.23")
    repair.save()
    assert any(
        "4,711.23" in text for text in history(signed_in(Role.BENCH), repair.job)[0]
    )
    for lines in history(signed_in(Role.COUNTER), repair.job):
        assert not any("4,711" in text for text in lines)
    assert "cost changed" in history(signed_in(Role.COUNTER), repair.job)[0]


def test_an_event_and_erased_values_are_told(ada, signed_in):
    job, customer = make.job(), make.customer("Someone Else")
    record_event(Action.CODE_SHOWN, job, why="to test the screen")
    record_event(
        Action.IMPORTED, file="past.csv", **{"repairs.job": 1200, "repairs.fault": 3}
    )
    erase_details(key_of(customer))
    client = signed_in(Role.OWNER)
    assert history(client, job)[0] == ["access code shown: reason ‘to test the screen’"]
    assert history(client, customer) == [["created", "The values were erased."]]
    assert every(client, action="imported") == [
        ("Ada Brook", "", ["data imported: file ‘past.csv’, 3 faults, 1,200 jobs"])
    ]


def test_who_acted_through_what(db, signed_in):
    with acting("customer link"):
        make.customer()
    with acting("command import_history"):
        make.customer()
    found = every(signed_in(Role.OWNER), kind="repairs.customer")
    assert [who for who, *_ in found] == ["command import_history", "customer link"]


def test_the_owner_filters_by_day_person_kind_action_and_record(ada, signed_in):
    with time_machine.travel(datetime(2026, 3, 12, 23, 30, tzinfo=UTC)):
        job = make.job(number="26-00042")
    with time_machine.travel(datetime(2026, 3, 14, 8, tzinfo=UTC)):
        Labour.objects.create(job=job, minutes=5)
        Job.objects.filter(pk=job.pk).update(accessories="charger")
    client = signed_in(Role.OWNER)
    day = {"since": "2026-03-12", "until": "2026-03-12"}
    abouts = [about for _, about, _ in every(client, **day)]
    assert "job 26-00042" in abouts and len(abouts) == 4  # customer, model, device, job
    later = every(client, since="2026-03-13", q="26-00042")
    assert [about for _, about, _ in later] == [
        "job 26-00042",
        "labour 5 min on 26-00042",
    ]
    assert len(every(client, kind="repairs.job", action="changed")) == 1
    assert len(every(client, by=ada.pk, kind="repairs.job")) == 2
    assert every(client, q="nothing of this name") == []
    assert client.get(reverse("trail:all"), {"since": "soon"}).status_code == 200
    assert every(client, since="soon") == []


@pytest.mark.parametrize(
    ("role", "kind", "status"),
    [
        (Role.COUNTER, "repairs.customer", 200),
        (Role.COUNTER, "repairs.job", 200),
        (Role.COUNTER, "shopdesk.shop", 403),
        (Role.BENCH, "shopdesk.user", 403),
        (Role.COUNTER, "repairs.supplier", 403),
        (Role.OWNER, "shopdesk.user", 200),
        (Role.OWNER, "repairs.nothing", 404),
        (Role.OWNER, "billing.invoice", 404),
        (Role.COUNTER, "x", 404),
    ],
)
def test_who_may_open_a_record_may_see_its_history(signed_in, db, role, kind, status):
    make.shop()
    job = make.job()
    ids = {"repairs.job": job.pk, "repairs.customer": job.customer_id}
    client = signed_in(role)
    pk = ids.get(kind) or client.session["_auth_user_id"]
    pk = 1 if kind == "shopdesk.shop" else pk
    response = client.get(reverse("trail:record", args=[kind, pk]))
    assert response.status_code == status


def test_the_history_of_a_deleted_record_is_the_owners(ada, signed_in):
    customer = make.customer("Ben Gone")
    kind, pk = key_of(customer)
    customer.delete()
    address = reverse("trail:record", args=[kind, pk])
    assert signed_in(Role.COUNTER).get(address).status_code == 403
    client = signed_in(Role.OWNER)
    assert [lines[0] for _, _, lines in shown(client.get(address))] == [
        "deleted",
        "created",
    ]
    unknown = reverse("trail:record", args=[kind, pk + 1000])
    assert client.get(unknown).status_code == 404


def test_only_the_owner_sees_everything(db, signed_in):
    for role in (Role.COUNTER, Role.BENCH):
        assert signed_in(role).get(reverse("trail:all")).status_code == 403


@pytest.mark.parametrize(
    ("name", "record"),
    [
        ("customers:customer", lambda: make.customer()),
        ("customers:device", lambda: make.device()),
        ("faults:fault", lambda: make.fault()),
        ("stock:part", lambda: make.part()),
        ("bench:job", lambda: make.job()),
    ],
)
def test_the_page_of_a_record_links_to_its_history(signed_in, db, name, record):
    record = record()
    page = signed_in(Role.OWNER).get(reverse(name, args=[record.pk])).content.decode()
    assert reverse("trail:record", args=key_of(record)) in page


@pytest.mark.parametrize("n", [1, 12])
def test_the_list_asks_the_same_however_many_entries(
    signed_in, ada, n, django_assert_num_queries
):
    for _ in range(n):
        make.repair(fix=make.fix())
    client = signed_in(Role.OWNER)
    TrailEntry.objects.filter(kind="x").count()
    # Session, person, shop, staff of the filter, count, entries; customer, device,
    # model, job, fault, fix, repair, and who signed in.
    with django_assert_num_queries(15):
        client.get(reverse("trail:all"))


def test_what_is_found_is_sent_as_a_file_and_that_is_in_the_trail(
    db, signed_in, monkeypatch
):
    in_threes = partial(in_batches, size=3)
    monkeypatch.setattr("shopdesk.trail.tables.in_batches", in_threes)
    client = signed_in(Role.OWNER)
    with time_machine.travel(datetime(2026, 3, 12, 14, 5, tzinfo=UTC)):
        names = [f"=Customer {n}" for n in range(8)]
        made = [make.customer(name) for name in names]
    Customer.objects.filter(pk=made[0].pk).update(company="Quay", notes="Calls")
    params = {"kind": "repairs.customer"}
    shown = every(client, **params)
    answer = client.get(reverse("trail:all"), params | {"as": "csv"})
    rows = list(csv.DictReader(StringIO(answer.getvalue().decode())))
    assert [(row["By"], row["Record"], row["What"]) for row in rows] == [
        (who, about, "; ".join(lines)) for who, about, lines in shown
    ]
    assert rows[0]["What"] == "company set to ‘Quay’; notes set to ‘Calls’"
    assert (len(rows), rows[-1]["When"]) == (9, "2026-03-12 14:05:00")
    answer = client.get(reverse("trail:all"), params | {"as": "xlsx"})
    sheet = openpyxl.load_workbook(BytesIO(answer.getvalue())).active
    assert (sheet.max_row, sheet["A10"].value.isoformat()) == (
        10,
        "2026-03-12T14:05:00",
    )
    last = TrailEntry.objects.latest("id")
    assert (last.action, last.values) == ("downloaded", {"file": "audit-trail.xlsx"})


def test_more_entries_than_a_file_can_have_are_to_be_filtered(
    db, signed_in, monkeypatch
):
    monkeypatch.setattr("shopdesk.trail.views.MAX_IN_FILE", 3)
    client = signed_in(Role.OWNER)
    for _ in range(4):
        make.customer()
    params = {"kind": "repairs.customer"}
    answer = client.get(reverse("trail:all"), params | {"as": "csv"}, follow=True)
    assert answer.redirect_chain == [("/trail/?kind=repairs.customer", 302)]
    assert "These are 4 entries. Filter the list" in answer.content.decode()
    assert not TrailEntry.objects.filter(action="downloaded").exists()
