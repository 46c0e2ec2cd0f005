"""What the API answers: as its document says, in pages, within the scope of a token."""

from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone
from openapi_spec_validator import validate

from billing.invoices.crediting import issue_credit_note
from repairs.customers.models import Customer
from repairs.faults.models import Symptom
from repairs.stock.actions import count
from repairs.stock.models import Part
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.all_kinds import AllKinds
from tests.billing.personal_data.canaries import add_the_rest, plant
from tests.shopdesk.api.conftest import LISTS, PATHS


def pages_of(ask, path, text, **params):
    """All items of a list, page by page."""
    cursor, items = 0, []
    while cursor is not None:
        answer = ask(path, text, cursor=cursor, **params).json()
        items += answer["items"]
        cursor = answer["next_cursor"]
    return items


def ids(answer):
    assert answer.status_code == 200, answer.content
    return [item["id"] for item in answer.json()["items"]]


def test_the_document_is_valid_openapi_and_asks_for_a_token_everywhere(document):
    validate(document)
    operations = [path["get"] for path in document["paths"].values()]
    assert sorted(document["paths"]) == sorted(f"/api/v1/{path}" for path in PATHS)
    assert all(
        operation["security"] == [{"BearerToken": []}] for operation in operations
    )
    assert {method for path in document["paths"].values() for method in path} == {"get"}


def test_pages_hold_each_row_once_while_others_are_added(ask, token_of):
    _, text = token_of()
    jobs = [make.job() for _ in range(5)]
    first = ask("jobs", text, limit=2).json()
    added = make.job()
    rest = pages_of(ask, "jobs", text, limit=2)[2:]
    assert [item["number"] for item in first["items"] + rest] == [
        job.number for job in [*jobs, added]
    ]
    assert ask("jobs", text, cursor=added.pk).json()["items"] == []


def test_changed_since_finds_what_changed_and_what_belongs_to_it(ask, token_of):
    _, text = token_of(personal=True)
    then = timezone.now() - timedelta(days=9)
    with time_machine.travel(then - timedelta(days=1)):
        fault, fix = make.fault(), make.fix()
        old = [make.past_repair(fault, fix, on=make.DAY) for _ in range(3)]
        parts = [make.part(on_hand=4) for _ in range(3)]

    def changed(path, since=then):
        return ids(ask(path, text, changed_since=since.isoformat()))

    for path in ("jobs", "repairs", "parts", "customers", "faults", "fixes"):
        assert changed(path) == []
        assert len(changed(path, then - timedelta(days=2))) >= 1
    old[0].job.symptoms.add(Symptom.objects.create(name="Hot"))
    assert changed("jobs") == [old[0].job_id] and changed("repairs") == [old[0].pk]
    make.comeback(old[2], on=timezone.localdate())
    assert old[2].pk in changed("repairs") and old[1].pk not in changed("repairs")
    count(parts[1], counted=3, reason="lost", stamp=make.stamp())
    assert changed("parts") == [parts[1].pk]
    customer = old[1].job.customer
    customer.notes = "calls back"
    customer.save()
    assert changed("customers") == [customer.pk, *changed("customers")[1:]]
    # An import is one entry of the trail, whatever it writes.
    record_event(Action.IMPORTED, file="past.csv")
    assert set(changed("parts")) == {part.pk for part in parts}


def test_created_since_is_a_day(ask, token_of, document):
    _, text = token_of()
    for on in (till.TODAY, till.TODAY + timedelta(days=1)):
        invoice = till.handed_over(on=on)
    issue_credit_note(invoice, why="wrong", stamp=make.stamp(on=on))
    invoices = pages_of(ask, "invoices", text)
    days = sorted({item["issued_on"] for item in invoices})
    later = [item for item in invoices if item["issued_on"] >= days[-1]]
    assert pages_of(ask, "invoices", text, created_since=days[-1]) == later
    assert {item["kind"] for item in invoices} == {"invoice", "credit"}
    for item in invoices:
        assert {item[name]["currency"] for name in ("net", "tax", "gross")} == {"EUR"}


@pytest.mark.parametrize(
    ("path", "params", "named"),
    [
        ("jobs", {"changed": "2026-01-01"}, "Unknown parameter: changed."),
        ("jobs", {"changed_since": "yesterday"}, "changed_since: enter a date"),
        ("jobs", {"changed_since": "1700000000"}, "changed_since: enter a date"),
        ("jobs", {"changed_since": "2026-02-30"}, "changed_since: enter a date"),
        ("jobs", {"changed_since": "0001-01-01"}, "changed_since: enter a date"),
        ("invoices", {"created_since": "20260101"}, "created_since: enter a date"),
        ("invoices", {"changed_since": "2026-01-01"}, "Unknown parameter"),
        ("parts", {"limit": "501"}, "limit: "),
        ("parts", {"limit": "ten"}, "limit: "),
        ("parts", {"cursor": "-1"}, "cursor: "),
        ("parts", {"cursor": str(2**63)}, "cursor: "),
        ("comeback-table", {"within": "0"}, "within: "),
        ("comeback-table", {"as_of": "2039-01-01"}, "as_of: This date is in the"),
        ("comeback-table", {"cursor": "1"}, "Unknown parameter: cursor."),
    ],
)
def test_a_wrong_parameter_is_named(ask, token_of, path, params, named):
    _, text = token_of()
    answer = ask(path, text, **params)
    assert answer.status_code == 400 and answer.json()["detail"].startswith(named)


def test_personal_data_is_answered_to_no_other_token(ask, token_of):
    mine = AllKinds().all().device.owner
    add_the_rest(mine)
    planted = plant(mine, letter="a")
    _, plain = token_of(costs=True)
    _, personal = token_of(personal=True)
    assert ask("customers", plain).status_code == 403
    held = {path: ask(path, plain, limit=500) for path in set(LISTS) - {"customers"}}
    assert {answer.status_code for answer in held.values()} == {200}
    text = "".join(answer.content.decode() for answer in held.values())
    found = {
        (kind.model.__name__, name)
        for canary, (kind, name) in planted.items()
        if canary in text
    }
    # Numbers, and what an erasure leaves.
    assert found == {
        *(("Job", "number"), ("Device", "board_revision")),
        *(("Invoice", "series"), ("Receipt", "series")),
    }
    whole = "".join(ask(path, personal, limit=500).content.decode() for path in LISTS)
    shown = {
        (kind.model.__name__, name)
        for canary, (kind, name) in planted.items()
        if canary in whole
    }
    assert shown > found | {
        *(("Customer", "email"), ("Device", "serial"), ("Job", "complaint")),
        *(("Repair", "note"), ("Invoice", "buyer_name"), ("Payment", "text")),
    }
    assert Customer.objects.count() == len(ask("customers", personal).json()["items"])


def test_the_page_for_people_names_all_that_the_document_does(client, document):
    client.force_login(make.user(Role.OWNER))
    page = client.get("/api/reference/").content.decode()
    names = {
        name
        for schema in document["components"]["schemas"].values()
        for name in schema["properties"]
    }
    assert [name for name in names - {"detail"} if name not in page] == []
    assert "personal.complaint" in page and "items[].device.kind" in page


def test_free_parts_and_levels(ask, token_of):
    _, text = token_of(costs=True)
    part = make.part(on_hand=7)
    Part.objects.filter(pk=part.pk).update(reorder_level=3)
    [item] = ask("parts", text).json()["items"]
    assert (item["in_stock"], item["free"], item["reorder_level"]) == (7, 7, 3)
    assert item["costs"] == {"unit_cost": {"amount": "2.50", "currency": "EUR"}}
