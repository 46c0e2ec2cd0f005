"""The European Repair Information Form: complete, frozen, and binding while it holds.

Rows and days after Directive (EU) 2024/1799, Article 4 and Annex I, as published in the
Official Journal of 10.7.2024 [P].
"""

import re
import subprocess
from datetime import date, timedelta
from decimal import Decimal
from hashlib import sha256

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from billing.quotes import drafting, sending
from billing.quotes.models import Quote
from billing.repair_form import actions
from billing.repair_form.models import DiagnosisConsent, RepairInformationForm
from shopdesk.errors import IncompleteError, InvalidTransitionError, RefusedError
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till
from tests.billing.changes.test_change_order import agree, record
from tests.papers import text_of

SHOP = {
    "name": "The Second Spark",
    "address": "3 Mill Row",
    "phone": "+441632960111",
    "email": "desk@spark.example",
}
FORM = {
    "defect": "Charging socket loose",
    "measures": "Replace the socket",
    "price": Decimal("70.80"),
    "days": 3,
    "place": "3 Mill Row",
}


def missing_rows(**changed):
    """The rows that a form with these fields lacks, in a shop with these settings."""
    shop = Shop(**{name: changed.get(name, value) for name, value in SHOP.items()})
    others = {name: value for name, value in changed.items() if name not in SHOP}
    form = RepairInformationForm(**FORM | others)
    return [row for row, *_ in form.missing_rows(shop=shop)]


def test_a_form_with_every_row_lacks_nothing():
    assert missing_rows() == []


@pytest.mark.parametrize(
    ("changed", "row"),
    [
        ({"name": " "}, "Repairer"),
        ({"address": ""}, "Address"),
        ({"phone": ""}, "Telephone number"),
        ({"email": ""}, "Email address"),
        ({"defect": "\n"}, "Nature of the defect"),
        ({"measures": ""}, "Type of repair"),
        ({"mode": "calc", "max_price": Decimal(90)}, "Price"),
        ({"mode": "calc", "price_rule": "by the hour"}, "Maximum price"),
        (
            {"mode": "calc", "price_rule": "by the hour", "max_price": Decimal(0)},
            "Maximum price",
        ),
        ({"place": ""}, "Place"),
    ],
)
def test_each_row_that_is_missing_is_named(changed, row):
    assert missing_rows(**changed) == [row]


@pytest.mark.parametrize("changed", [{"days": 0}, {"price": Decimal(0)}])
def test_a_nought_is_an_answer(changed):
    assert missing_rows(**changed) == []


@pytest.mark.parametrize(
    ("issued", "days", "last"),
    [
        ("2026-03-05", 30, "2026-04-04"),
        ("2028-01-31", 30, "2028-03-01"),  # over the 29th of February
        ("2026-03-05", 45, "2026-04-19"),
    ],
)
def test_it_is_valid_for_its_days_from_the_day_of_issue(issued, days, last):
    form = RepairInformationForm(valid_days=days)
    assert form.last_valid_day(date.fromisoformat(issued)).isoformat() == last


@pytest.mark.django_db
def test_fewer_than_thirty_days_are_refused(shop):
    with pytest.raises(IntegrityError), transaction.atomic():
        RepairInformationForm.objects.filter(pk=made().pk).update(valid_days=29)


# --- in the books ---------------------------------------------------------------


@pytest.fixture
def shop(db):
    return make.shop(
        name="The Second Spark",
        address="3 Mill Row\nTarnford",
        phone="+441632960111",
        email="desk@spark.example",
        country="GB",
        uses_repair_form=True,
    )


def made(**facts):
    return actions.make(till.sent(**facts).options.first(), stamp=make.stamp())


def given(on=till.TODAY, **facts):
    return actions.issue(made(**facts), stamp=make.stamp(on=on))


def yes(form, on=till.TODAY):
    return actions.accept(form, who="Ada Fenwick", how="email", stamp=make.stamp(on=on))


def text(pdf):
    return re.sub(r"\s+", " ", text_of(pdf))


ROWS = [
    "Repairer",
    "Address",
    "Telephone number",
    "Email address",
    "Other ways to reach us online",
    "Good to be repaired",
    "Nature of the defect",
    "Type of repair suggested",
    "Price of the repair",
    "Time to complete the repair",
    "Temporary replacement good",
    "Cost of the temporary replacement",
    "Place where the good is handed over",
    "Ancillary services",
    "Cost of each ancillary service",
    "Period of validity",
    "Additional information",
]


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_paper_has_all_rows_in_order_on_one_page(shop, size):
    make.shop(paper=size)
    pdf = given().pdf
    said = text(pdf)
    places = [said.index(row) for row in ROWS]
    assert places == sorted(places)
    assert said.count("None") == 4 and "Temporary replacement good No" in said
    assert "30 days from the date of issue: until 4 Apr 2026" in said
    done = subprocess.run(["pdfinfo", "-"], input=bytes(pdf), capture_output=True)
    assert re.search(rb"Pages: +1\b", done.stdout)


def test_a_temporary_repair_is_called_one(shop):
    form = made(fixes=["stopgap"])
    assert form.measures.startswith("Temporary repair: Stopgap mend.")


def test_a_given_form_is_kept_byte_for_byte(shop):
    form = given()
    assert sha256(form.pdf).hexdigest() == form.pdf_sha256
    assert form.valid_until == till.TODAY + timedelta(days=30)
    make.shop(name="Another name", hourly_rate=Decimal(99))
    again = actions.issue(form, stamp=make.stamp(on=date(2026, 6, 1)))
    assert bytes(again.pdf) == bytes(form.pdf)
    assert again.valid_until == form.valid_until


@pytest.mark.parametrize(
    "change",
    [
        lambda: RepairInformationForm.objects.update(price=1),
        lambda: RepairInformationForm.objects.update(valid_until=date(2026, 3, 6)),
        lambda: RepairInformationForm.objects.update(extras_json="[1]"),
        lambda: RepairInformationForm.objects.all().delete(),
    ],
)
def test_the_database_refuses_to_change_a_given_form(shop, change):
    given()
    before = RepairInformationForm.objects.values().get()
    with pytest.raises(IntegrityError), transaction.atomic():
        change()
    assert RepairInformationForm.objects.values().get() == before


def test_a_form_that_lacks_a_row_is_not_given(shop):
    form = made()
    make.shop(phone="")
    with pytest.raises(IncompleteError, match="not complete"):
        actions.issue(form, stamp=make.stamp(on=till.TODAY))
    assert not RepairInformationForm.objects.get().is_issued


def test_a_shop_that_does_not_offer_it_makes_none(shop):
    make.shop(uses_repair_form=False)
    with pytest.raises(RefusedError, match="does not offer"):
        made()


def test_a_yes_takes_the_option_and_approves_the_job(shop):
    form = yes(given())
    quote = form.option.quote
    quote.refresh_from_db()
    assert (quote.state, quote.accepted_option, quote.answered_how) == (
        "accepted",
        form.option,
        "email",
    )
    assert form.job.__class__.objects.get().state == "approved"
    assert RepairInformationForm.objects.exceeded_by(form.price, job=form.job) is None
    assert (
        RepairInformationForm.objects.exceeded_by(
            form.price + Decimal("0.01"), job=form.job
        )
        == form
    )


def test_the_same_yes_twice_is_one(shop):
    form = yes(given())
    first = form.accepted_at
    assert yes(form).accepted_at == first and Quote.objects.count() == 1


def test_a_revised_quote_does_not_end_the_form(shop):
    """Article 4(5): the conditions may not be changed while the form is valid."""
    form = given()
    new = drafting.revise(form.option.quote, stamp=make.stamp())
    new.options.first().lines.update(price=Decimal(500))
    assert yes(form).is_accepted
    quote = Quote.objects.get(state="accepted")
    assert quote.version == 3 and quote.accepted_option.title == form.option.title
    assert quote.accepted_option.totals().gross == form.price
    assert sorted(Quote.objects.values_list("state", flat=True)) == [
        "accepted",
        "replaced",
        "replaced",
    ]


def test_a_quote_that_ran_out_first_does_not_end_the_form(shop):
    make.shop(quote_days=5)
    form = given()
    assert yes(form, on=till.TODAY + timedelta(days=30)).is_accepted
    assert (
        Quote.objects.get(state="accepted").accepted_option.totals().gross == form.price
    )


def test_a_yes_after_the_last_day_is_refused(shop):
    form = given()
    with pytest.raises(InvalidTransitionError, match="expired on 4 Apr 2026"):
        yes(form, on=till.TODAY + timedelta(days=31))
    assert not RepairInformationForm.objects.get().is_accepted
    assert Quote.objects.get().state == "sent"


def test_a_yes_to_another_version_leaves_the_form(shop):
    form = given()
    new = sending.send(
        drafting.revise(form.option.quote, stamp=make.stamp()),
        stamp=make.stamp(on=till.TODAY),
    )
    till.accept_online(new)
    with pytest.raises(
        InvalidTransitionError, match="Version 2 of the quote has already been accepted"
    ):
        yes(form)


def test_consent_is_written_down_before_the_work(shop):
    job = make.job()
    facts = {"fee": Decimal(25), "agreed_by": "Ada", "agreed_how": "counter"}
    actions.consent(job, **facts, stamp=make.stamp())
    job.refresh_from_db()
    assert (
        job.agreed_diagnosis_fee == 25
        and DiagnosisConsent.objects.get().agreed_by == "Ada"
    )
    with pytest.raises(InvalidTransitionError, match="before the diagnosis"):
        actions.consent(till.diagnosed(), **facts, stamp=make.stamp())
    with pytest.raises(IntegrityError), transaction.atomic():
        DiagnosisConsent.objects.update(fee=0)


# --- at the counter -------------------------------------------------------------


@pytest.fixture
def desk(client, shop):
    client.force_login(make.user(Role.COUNTER))
    return client


def boxes(form, **changed):
    return {
        "defect": "Loose socket",
        "measures": "Replace it",
        "mode": "fixed",
        "days": "3",
        "has_replacement": "no",
        "place": "3 Mill Row",
        "valid_days": "30",
    } | changed


def test_the_desk_makes_fills_and_gives_a_form(desk):
    quote = till.sent()
    where = reverse("repair_form:make", args=[quote.options.first().pk])
    page = desk.post(where, follow=True).content.decode()
    assert "Issue form" in page and "Not complete" not in page
    form = RepairInformationForm.objects.get()
    sent = boxes(form, what0="Parcel there and back", cost0="9", more="Back up first.")
    desk.post(form.get_absolute_url(), sent)
    assert desk.get(reverse("repair_form:paper", args=[form.pk]))["Content-Type"] == (
        "application/pdf"
    )
    page = desk.post(reverse("repair_form:issue", args=[form.pk]), sent, follow=True)
    form.refresh_from_db()
    assert form.is_issued and "Record acceptance" in page.content.decode()
    said = text(desk.get(reverse("repair_form:paper", args=[form.pk])).content)
    assert "Parcel there and back" in said and "€9.00" in said and "Back up" in said
    where = reverse("repair_form:accept", args=[form.pk])
    desk.post(where, {"who": "Ada", "how": "counter"})
    assert RepairInformationForm.objects.get().is_accepted


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"mode": "calc"}, "Enter a maximum price"),
        ({"mode": "calc", "max_price": "90"}, "Enter how the price is calculated"),
        (
            {"mode": "calc", "price_rule": "by the hour", "max_price": "1e5"},
            "such as 1234.50",
        ),
        (
            {"mode": "calc", "price_rule": "by the hour", "max_price": "NaN"},
            "such as 1234.50",
        ),
        (
            {"mode": "calc", "price_rule": "by the hour", "max_price": "9" * 400},
            "such as 1234.50",
        ),
        ({"valid_days": "29"}, "30"),
        ({"days": "-1"}, "0"),
        ({"days": ""}, "required"),
        ({"what0": "Parcel"}, "Enter the cost"),
        ({"cost0": "9"}, "Enter what this cost is for"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(desk, changed, sentence):
    form = made()
    before = RepairInformationForm.objects.values().get()
    where = reverse("repair_form:issue", args=[form.pk])
    page = desk.post(where, boxes(form, **changed, more="Kept words"))
    assert page.status_code == 200
    assert sentence in page.content.decode() and "Kept words" in page.content.decode()
    assert RepairInformationForm.objects.values().get() == before


def test_what_the_shop_lacks_is_named_with_the_way_there(desk):
    form = made()
    make.shop(address="")
    page = desk.get(form.get_absolute_url()).content.decode()
    assert "Enter the shop’s address" in page and reverse("shop:settings") in page


def test_a_draft_is_thrown_away_a_given_form_is_not(desk):
    form = made()
    desk.post(reverse("repair_form:delete", args=[form.pk]))
    assert not RepairInformationForm.objects.exists()
    form = given()
    desk.post(reverse("repair_form:delete", args=[form.pk]))
    assert RepairInformationForm.objects.exists()


def test_a_given_form_is_mailed_as_it_was_given(desk):
    form = given()
    form.job.customer.email = "ada@fenwick.example"
    form.job.customer.save()
    desk.post(reverse("repair_form:mail", args=[form.pk]))
    letter = Email.objects.get()
    assert bytes(letter.attachments.get().file) == bytes(form.pdf)
    assert letter.to == "ada@fenwick.example"


def test_consent_from_the_forms_page(desk):
    job = make.job()
    where = reverse("repair_form:for_job", args=[job.pk])
    page = desk.post(where, {"fee": "1e5", "agreed_by": "Ada", "agreed_how": "phone"})
    assert "such as 1234.50" in page.content.decode()
    assert not DiagnosisConsent.objects.exists()
    desk.post(where, {"fee": "30", "agreed_by": "Ada", "agreed_how": "phone"})
    assert "Ada agreed to €30.00, by phone" in desk.get(where).content.decode()


def test_a_bill_above_an_accepted_form_is_warned_of_where_it_is_made(desk):
    form = made()
    form.mode, form.price_rule, form.max_price = (
        "calc",
        "Labour by the hour.",
        Decimal(60),
    )
    form.save()
    form = yes(actions.issue(form, stamp=make.stamp(on=till.TODAY)))
    job = till.mend(form.job)
    page = desk.get(reverse("handover:hand_over", args=[job.pk])).content.decode()
    assert "limits the price to €60.00" in page
    assert form.get_absolute_url() in page
    page = desk.get(reverse("invoices:create", args=[job.pk])).content.decode()
    assert "limits the price to €60.00" in page


def test_what_was_agreed_to_besides_comes_on_top_of_the_form(shop):
    form = yes(given())
    agree(record(form.job))
    more = form.price + Decimal("12.00")
    assert RepairInformationForm.objects.exceeded_by(more, job=form.job) is None
    assert (
        RepairInformationForm.objects.exceeded_by(more + Decimal("0.01"), job=form.job)
        == form
    )
