"""Two people change one record: neither loses an entry without being told."""

import pytest

from repairs.customers.models import Customer
from repairs.faults.models import Check, Symptom
from shopdesk.staff.models import Role
from tests import make
from tests.sent_forms import typed_in


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.OWNER))
    return client


def _fix():
    fix = make.fix(make.fault(code="PWR-JACK"))
    fix.usual_parts.create(part=make.part(number="J-5"), quantity=2)
    return fix


def _part():
    part = make.part(number="P-1")
    part.substitutes.add(make.part(number="P-2"))
    return part


# For each form of a record: the record, its page, a field that one person changes and
# another field that the other person changes, each with its new value.
FORMS = {
    "customer": (
        lambda: make.customer(phone="+442079460000", address="1 Fern Lane\nLeeds"),
        "{url}change/",
        ("phone", "+44 20 7946 0999"),
        ("notes", "rings twice"),
    ),
    "device": (
        lambda: make.device(serial="SN-1"),
        "{url}change/",
        ("serial", "SN-2"),
        ("board_revision", "B"),
    ),
    "part": (_part, "{url}change/", ("substitutes", ""), ("bin", "A7")),
    "fault": (make.fault, "{url}change/", ("hazard", "mains"), ("notes", "hums")),
    "fix": (_fix, "/faults/fixes/{pk}/", ("usual", "J-5"), ("minutes", "35")),
    "symptom": (
        lambda: Symptom.objects.create(name="no light"),
        "/faults/symptoms/{pk}/",
        ("name", "no light at all"),
        ("is_retired", "on"),
    ),
    "check": (
        lambda: Check.objects.create(name="Rail", results="open; good", minutes=4),
        "/faults/checks/{pk}/",
        ("results", "open; good; shorted"),
        ("where", "C12"),
    ),
    "member": (
        lambda: make.user(Role.BENCH),
        "{url}",
        ("role", "counter"),
        ("name", "Bo Larsén"),
    ),
    "settings": (make.shop, "/shop/figures/", ("quote_days", "21"), ("name", "Fern")),
}


@pytest.mark.django_db
@pytest.mark.parametrize("kind", FORMS)
def test_a_page_saved_as_it_stands_changes_nothing(desk, kind):
    page, record = _page(kind)
    before = type(record).objects.filter(pk=record.pk).values().get()
    saved = desk.post(page, typed_in(desk.get(page)))
    assert saved.status_code == 302
    after = type(record).objects.filter(pk=record.pk).values().get()
    assert after == before


@pytest.mark.django_db
@pytest.mark.parametrize("kind", FORMS)
def test_whoever_is_later_sees_both_values_and_loses_none(desk, kind):
    page, _ = _page(kind)
    (field, value), (other, typed) = FORMS[kind][2:]
    first, second = (typed_in(desk.get(page)) for _ in range(2))
    assert desk.post(page, first | {field: value}).status_code == 302
    refused = desk.post(page, second | {other: typed})
    form = refused.context["form"]
    assert [conflict.entered for conflict in form.conflicts] == [None]
    assert "Someone else changed this meanwhile." in refused.text
    assert "Changed by someone else" in refused.text
    kept = typed_in(refused)
    assert kept[other] == typed
    now = typed_in(desk.get(page))
    assert now.get(other) != typed  # nothing was saved
    assert kept.get(field) == now.get(field)  # what the other person saved is shown
    assert desk.post(page, kept).status_code == 302
    saved = typed_in(desk.get(page))
    assert (saved.get(field), saved[other]) == (now.get(field), typed)


@pytest.mark.django_db
def test_of_two_values_of_one_field_the_last_is_chosen_knowingly(desk):
    page, record = _page("customer")
    first, second = (typed_in(desk.get(page)) for _ in range(2))
    desk.post(page, first | {"name": "Ada Fenwick-Hale"})
    refused = desk.post(page, second | {"name": "A. Fenwick"})
    (conflict,) = refused.context["form"].conflicts
    assert (conflict.label, conflict.stored, conflict.entered) == (
        "Name",
        "Ada Fenwick-Hale",
        "A. Fenwick",
    )
    assert desk.post(page, typed_in(refused)).status_code == 302
    assert Customer.objects.get(pk=record.pk).name == "A. Fenwick"


@pytest.mark.django_db
@pytest.mark.parametrize("seen", ["", "x", "\x00", "9" * 4000])
def test_a_value_that_nobody_saw_is_a_conflict(desk, seen):
    page, record = _page("customer")
    sent = typed_in(desk.get(page)) | {"initial-name": seen, "name": "Bo"}
    assert desk.post(page, sent).status_code == 200
    assert Customer.objects.get(pk=record.pk).name == record.name


def _page(kind):
    build, page, *_ = FORMS[kind]
    record = build()
    url = getattr(record, "get_absolute_url", str)()
    return page.format(url=url, pk=record.pk), record
