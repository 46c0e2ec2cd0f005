"""Over the counter or by post, with its papers, and never with a dangerous battery."""

from datetime import timedelta
from hashlib import sha256
from io import BytesIO
from uuid import uuid4

import pikepdf
import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.handover.shipping import HandoverDetails, shipping_problem
from billing.invoices.models import Invoice
from repairs.faults.models import Hazard
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.mail.models import Email
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.papers import text_of

HOME = "3 Mill Row\nTarnford TF1 2AB"


@pytest.mark.parametrize(
    ("battery", "is_swollen", "has_battery", "said"),
    [
        ("none", False, False, ""),
        ("sound", False, False, ""),
        ("sound", False, True, ""),
        ("out", True, True, ""),
        ("out", False, True, ""),
        ("", False, False, "Select the battery status"),
        ("posted", False, False, "Select the battery status"),
        ("sound", True, True, "must not travel by air"),
        ("none", True, False, "must not travel by air"),
        ("none", False, True, "The fault book lists a lithium battery"),
    ],
)
def test_what_the_post_forbids(battery, is_swollen, has_battery, said):
    details = HandoverDetails(how="post", battery=battery)
    why = shipping_problem(details, is_swollen=is_swollen, has_battery=has_battery)
    assert why.startswith(said) if said.startswith(("Say", "By")) else said in why
    assert bool(why) is bool(said)
    over_the_counter = HandoverDetails(battery=battery)
    assert not shipping_problem(over_the_counter, is_swollen=True, has_battery=True)


@pytest.fixture
def desk(client, db):
    client.force_login(make.user(Role.COUNTER))
    return client


def address(job):
    return reverse("handover:hand_over", args=[job.pk])


def filled(job, **facts):
    job.refresh_from_db()
    return {
        "amount": "",
        "how": "counter",
        "key": str(uuid4()),
        "version": job.version,
    } | facts


def posted(job, **facts):
    facts = {"carrier": "Overland Post", "battery": "none"} | facts
    return filled(job, how="post", **facts)


def ready(**facts):
    owner = make.customer(address=HOME, email="ada@fenwick.example")
    return till.ready(of=make.device(owner=owner), **facts)


def text(pdf):
    return " ".join(text_of(pdf).split())


def test_who_took_it_is_written_down(desk):
    job = ready()
    page = desk.post(address(job), filled(job, to="Bo Fenwick"), follow=True)
    assert "Collected by Bo Fenwick" in page.content.decode()
    assert Collection.objects.get().job == job and not Parcel.objects.exists()
    with pytest.raises(IntegrityError), transaction.atomic():
        Collection.objects.update(to="Somebody")


def test_a_drawn_signature_is_kept_and_only_lines_are(desk):
    job = ready()
    page = desk.post(address(job), filled(job, to="Bo", signature='M1 1"/><script>'))
    assert "could not be read" in page.content.decode()
    page = desk.post(address(job), filled(job, signature="M1 1L20 30")).content.decode()
    assert "the person who signed" in page and not Collection.objects.exists()
    sent = filled(job, to="Bo", signature="M1 1L20 30")
    page = desk.post(address(job), sent, follow=True).content.decode()
    assert 'd="M1 1L20 30"' in page and "Signature of Bo" in page
    assert Collection.objects.get().signature == "M1 1L20 30"


@pytest.mark.paper
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_a_parcel_has_its_note(desk, size):
    make.shop(paper=size, parcel_text="Our own words.")
    job = ready(accessories="charger, bag")
    sent = posted(job, battery="sound", number="OP 123", grams="2150")
    page = desk.post(address(job), sent, follow=True).content.decode()
    where = reverse("handover:parcel", args=[job.pk])
    assert where in page and "OP 123" in page
    pdf = desk.get(where).content
    said = text(pdf)
    for words in ("UN 3481", "charger, bag", "2150 g", "Tarnford", "Our own words."):
        assert words in said, words
    assert len(pikepdf.open(BytesIO(pdf)).pages) == 1
    make.shop(name="Another name", parcel_text="Other words.")
    assert desk.get(where).content == pdf
    assert sha256(pdf).hexdigest() == Parcel.objects.get().pdf_sha256


@pytest.mark.parametrize(
    ("facts", "typed", "said"),
    [
        ({}, {"battery": ""}, "Select the battery status"),
        ({}, {"carrier": ""}, "Enter the carrier"),
        ({"has_swollen_battery": True}, {"battery": "sound"}, "must not travel by air"),
        ({}, {"grams": "2 kg"}, "whole number"),
        ({}, {"battery": "posted"}, "not one of the available choices"),
    ],
)
def test_a_parcel_that_must_not_go_stays_with_all_that_was_typed(
    desk, facts, typed, said
):
    job = ready(**facts)
    page = desk.post(address(job), posted(job, number="Kept 9", **typed))
    assert said in page.content.decode() and "Kept 9" in page.content.decode()
    job.refresh_from_db()
    assert job.state == "ready"
    assert not Invoice.objects.exists() and not Parcel.objects.exists()


def test_a_battery_known_to_the_fault_book_is_asked_for(desk):
    job = ready()
    job.repairs.get().fault.__class__.objects.update(hazard=Hazard.BATTERY)
    page = desk.post(address(job), posted(job)).content.decode()
    assert "The fault book lists a lithium battery" in page
    assert not Parcel.objects.exists()


def test_without_an_address_nothing_is_posted(desk):
    job = till.ready()
    page = desk.post(address(job), posted(job)).content.decode()
    assert "Add a postal address" in page and not Invoice.objects.exists()
    assert Job.objects.get().state == "ready"


def test_a_parcels_number_is_added_once(desk):
    job = ready()
    desk.post(address(job), posted(job))
    where = reverse("handover:parcel_number", args=[job.pk])
    assert "Enter a parcel number" in desk.post(where, follow=True).content.decode()
    desk.post(where, {"number": "OP 1"})
    page = desk.post(where, {"number": "OP 2"}, follow=True).content.decode()
    assert "already has a number" in page and Parcel.objects.get().number == "OP 1"
    with pytest.raises(IntegrityError), transaction.atomic():
        Parcel.objects.update(number="OP 3")


def test_the_papers_are_mailed_as_they_are_kept(desk):
    job = ready()
    desk.post(address(job), filled(job, mail=["invoice", "certificate"]))
    letter, invoice = Email.objects.latest("pk"), Invoice.objects.get()
    files = [bytes(one.file) for one in letter.attachments.all()]
    assert files == [
        bytes(invoice.pdf),
        bytes(WarrantyCertificate.objects.get().pdf),
    ]
    assert letter.to == "ada@fenwick.example" and job.number in letter.subject


def test_without_a_mail_address_none_is_offered(desk):
    job = till.ready()
    assert "print the documents" in desk.get(address(job)).content.decode()
    desk.post(address(job), filled(job, mail=["invoice"]))
    assert Invoice.objects.exists() and not Email.objects.exists()


def test_the_certificate_stays_byte_for_byte(desk):
    job = ready()
    desk.post(address(job), filled(job))
    where = reverse("handover:certificate", args=[job.pk])
    before = desk.get(where).content
    make.shop(name="Another name", warranty_text="Less.", paper="Letter")
    assert (
        desk.get(where).content
        == before
        == bytes(WarrantyCertificate.objects.get().pdf)
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        WarrantyCertificate.objects.all().delete()


def test_a_job_from_a_history_file_has_its_certificate_made(desk):
    fault = make.fault()
    fix = make.fix(fault)
    until = till.TODAY + timedelta(days=90)
    old = make.past_repair(
        fault, fix, on=till.TODAY, warranty_until=until, warranty_days=90
    )
    answer = desk.get(reverse("handover:certificate", args=[old.job.pk]))
    assert answer.status_code == 200 and fix.name in text(answer.content)


def test_a_battery_that_stays_here_needs_no_caution_any_more(desk):
    job = ready(has_swollen_battery=True, came_by="post")
    assert "Before shipping" in desk.get(address(job)).content.decode()
    sent = posted(job, battery="out")
    page = desk.post(address(job), sent, follow=True).content.decode()
    assert "removed, recycled by us" in page
    assert "Before shipping" not in page


def test_without_warranty_no_certificate_is_offered(desk):
    page = desk.get(address(ready())).content.decode()
    assert "Warranty terms" in page and "warranty certificate" in page
    job = till.diagnosed(of=ready().device)
    workflow.close(
        job, outcome="not_repairable", why="Corroded through.", stamp=make.stamp()
    )
    page = desk.get(address(job)).content.decode()
    assert "Send documents by email" in page
    assert "Warranty terms" not in page and "warranty certificate" not in page
    before = Email.objects.count()
    page = desk.post(address(job), filled(job, mail=["certificate"])).content.decode()
    assert "not one of the available choices" in page
    assert Email.objects.count() == before
