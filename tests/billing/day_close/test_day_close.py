"""The till is counted at the end of the day, once, against what was taken."""

import csv
import io
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import pikepdf
import pytest
import time_machine
from django.db import transaction
from django.db.utils import DatabaseError
from django.urls import reverse

from billing.day_close.actions import Count, close_day
from billing.day_close.queries import open_tills, takings
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import DayClose, Payment
from billing.invoices.payments import record_deposit, record_payment
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from tests import make
from tests.at_once import all_at_once
from tests.billing import till
from tests.papers import text_of

pytestmark = pytest.mark.django_db
D = Decimal
DAY = till.TODAY
NEXT = DAY + timedelta(days=1)


def how(on=DAY):
    return {"key": uuid4(), "stamp": make.stamp(on=on)}


def pay(invoice, amount, means="cash", on=DAY):
    return record_payment(invoice, amount=D(amount), means=means, **how(on))


def close(counted, *, day=DAY, on=None, by=None, **facts):
    stamp = make.stamp(on=on or day, by=by)
    return close_day(day, counted=D(counted), stamp=stamp, **facts)


def a_day():
    """Cash 20 and 30 of deposit, 10 of it back; card 25; a bill moved a deposit."""
    pay(till.handed_over(), 20)
    job = till.accepted().job
    job.refresh_from_db()
    record_deposit(job, amount=D(30), means="cash", **how())
    record_deposit(job, amount=D(-10), means="cash", **how())
    pay(till.handed_over(), 25, means="card")
    issue_invoice(till.mend(job), stamp=make.stamp(on=DAY))


def test_what_was_taken_by_which_means_and_what_was_only_moved_is_not_in_it():
    a_day()
    cash, card, transfer = takings(DAY, DAY, currency="EUR")
    assert (cash.invoices, cash.deposits, cash.refunds, cash.total) == (20, 30, -10, 40)
    assert (card.invoices, card.total, transfer.total) == (25, 25, 0)
    [now] = open_tills(day=DAY, shop=Shop.current())
    assert now.total.total == 65


def in_dollars(amount, means="cash", on=DAY):
    """A payment from before the currency was fixed."""
    return Payment.objects.create(
        job=make.job(), amount=D(amount), currency="USD", means=means, key=uuid4(),
        paid_on=on, booked_on=on, taken_at=till.now(), text="Deposit",
    )  # fmt: skip


def test_each_currency_taken_is_counted_and_has_its_own_difference(desk):
    a_day()
    in_dollars(30)
    in_dollars(12, means="card")
    where = reverse("day_close:days")
    page = desk.get(where).text
    assert "Count, USD" in page and "US$30.00" in page and "€40.00" in page
    told = {"day": DAY.isoformat(), "opening": "100", "counted": "140"}
    told |= {"USD-opening": "5", "USD-counted": "34", "USD-cash_removed": "24"}
    page = desk.post(where, told).text
    assert "US$1.00 is missing: US$35.00 is expected" in page
    assert not DayClose.objects.exists()
    page = desk.post(where, told | {"USD-why": "Wrong change."}, follow=True).text
    assert "Till closed." in page and "US$34.00" in page
    euros, dollars = DayClose.objects.order_by("currency")
    assert (euros.expected, euros.difference, euros.closing_float) == (140, 0, 140)
    assert (dollars.expected, dollars.difference, dollars.closing_float) == (35, -1, 10)
    # A paper is that of one currency.
    assert "US$34.00" in text_of(bytes(dollars.pdf))
    assert "€" not in text_of(bytes(dollars.pdf))
    # What is left is counted again, until none is.
    with pytest.raises(RefusedError, match="also money in USD"):
        close(140, day=NEXT)
    close(140, day=NEXT, others={"USD": Count(D(10), cash_removed=D(10))})
    later = NEXT + timedelta(days=1)
    assert close(140, day=later).currency == "EUR"
    assert DayClose.objects.count() == 5


def test_the_file_of_a_day_has_the_payments_of_one_currency(client):
    client.force_login(make.user(Role.COUNTER))
    pay(till.handed_over(), 20)
    in_dollars(30)
    euros = close(20, others={"USD": Count(D(30))})
    dollars = DayClose.objects.get(currency="USD")
    for day, amount, what in (
        (euros, "20.00", "on an invoice"),
        (dollars, "30.00", "Deposit"),
    ):
        file = client.get(reverse("day_close:csv", args=[day.pk]))
        assert f"till-2026-03-05-{day.currency}.csv" in file["Content-Disposition"]
        [row] = csv.DictReader(io.StringIO(file.text))
        assert [row["currency"], row["amount"], row["what"]] == [
            day.currency, amount, what,
        ]  # fmt: skip


def test_rounding_is_told_apart_and_is_no_money():
    make.shop(cash_step=D("0.10"), tax_rate=D("7.7"))
    invoice = till.handed_over()
    pay(invoice, invoice.gross)
    cash, *_ = takings(DAY, DAY, currency="EUR")
    assert invoice.gross == D("63.54")
    assert (cash.invoices, cash.cash_rounding, cash.total) == (
        D("63.50"),
        D("0.04"),
        D("63.50"),
    )


def test_the_count_is_held_against_what_should_be_there():
    a_day()
    with pytest.raises(RefusedError, match="€2.00 is missing: €140.00 is expected"):
        close(138, opening=D(100))
    assert not DayClose.objects.exists()
    made = close(138, opening=D(100), why="Change given wrong.", cash_removed=D(88))
    assert (made.expected, made.difference, made.closing_float) == (140, -2, 50)
    # and the next day begins with what stayed
    pay(till.handed_over(), 5, on=NEXT)
    after = close(55, day=NEXT)
    assert (after.since, after.opening, after.cash, after.difference) == (
        NEXT,
        50,
        5,
        0,
    )


def test_a_day_is_closed_once():
    close(0, by=make.user(name="Abel Thistlewick"))
    with pytest.raises(
        RefusedError, match="for 5 Mar 2026 was already closed by Abel Thistlewick"
    ):
        close(0)
    with pytest.raises(RefusedError, match="was already closed"):
        close(0, day=DAY - timedelta(days=3), on=DAY)
    with pytest.raises(RefusedError, match="in the future"):
        close(0, day=NEXT, on=DAY)
    with pytest.raises(RefusedError, match="cash removed exceeds"):
        close(0, day=NEXT, cash_removed=D(1))
    assert DayClose.objects.count() == 1


def test_a_day_that_nobody_closed_goes_with_the_next():
    pay(till.handed_over(), 20)
    pay(till.handed_over(), 5, on=NEXT)
    made = close(25, day=NEXT)
    assert (made.since, made.day, made.cash) == (DAY, NEXT, 25)


def test_what_comes_after_the_close_counts_on_the_next_day():
    close(0)
    late = pay(till.handed_over(), 20)
    assert (late.paid_on, late.booked_on) == (DAY, NEXT)
    assert close(20, day=NEXT).cash == 20


def test_the_database_refuses_money_on_a_closed_day():
    invoice = till.handed_over()
    close(0)
    row = Payment(
        job=invoice.job, invoice=invoice, amount=D(1), currency="EUR", means="cash",
        key=uuid4(), paid_on=DAY, booked_on=DAY, taken_at=till.now(),
    )  # fmt: skip
    with pytest.raises(DatabaseError, match="is closed"), transaction.atomic():
        row.save()
    assert not Payment.objects.exists()


@pytest.mark.parametrize(
    "change",
    [
        lambda: DayClose.objects.update(counted=D(9), why="no"),
        lambda: DayClose.objects.all()._raw_delete("default"),
    ],
)
def test_the_database_refuses_to_change_a_closed_day(change):
    close(0)
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        change()
    assert DayClose.objects.get().counted == 0


@pytest.mark.django_db(transaction=True)
def test_payments_while_the_day_is_closed_are_all_counted_once():
    bills = [till.handed_over() for _ in range(4)]

    def count():
        # Whatever is in it by then: nobody knows how many were quicker.
        close(0, why="Counted in a hurry.")

    acts = [count, *(lambda bill=bill: pay(bill, 10) for bill in bills)]
    assert all_at_once(*acts) == []
    first = DayClose.objects.get()
    then = close(0, day=NEXT, why="The rest.")
    assert first.cash + then.cash == 40
    [cash, *_] = takings(first.since, first.day, currency=first.currency)
    assert cash.total == first.cash


@pytest.mark.paper
def test_the_slip_is_a_paper_for_everybody_on_paper_and_on_a_roll(client):
    client.force_login(make.user(Role.COUNTER))
    a_day()
    made = close(40)
    kept = client.get(reverse("day_close:paper", args=[made.pk])).content
    assert kept == bytes(made.pdf)
    roll = client.get(reverse("day_close:slip", args=[made.pk])).content
    for pdf, width in ((kept, 595), (roll, 227)):
        with pikepdf.open(BytesIO(pdf)) as paper:
            assert paper.Root.MarkInfo.Marked and len(paper.pages) == 1
            assert b"pdfuaid:part" in paper.Root.Metadata.read_bytes()
            assert round(float(paper.pages[0].mediabox[2])) == width


def test_the_file_for_a_sheet_runs_nothing(client):
    person = make.user(Role.COUNTER, name='=cmd|"/c calc"!A1')
    client.force_login(person)
    invoice = till.handed_over()
    record_payment(
        invoice,
        amount=D(20),
        means="cash",
        **(how() | {"stamp": make.stamp(on=DAY, by=person)}),
    )
    answer = client.get(reverse("day_close:csv", args=[close(20).pk]))
    head = answer.content.decode().splitlines()[0]
    assert head == (
        "counts_on,paid_on,taken_at,job,invoice,receipt,what,how,amount,rounding,"
        "currency,taken_by"
    )
    [row] = csv.DictReader(io.StringIO(answer.content.decode()))
    assert (row["amount"], row["invoice"], row["how"]) == (
        "20.00",
        "INV26-00001",
        "cash",
    )
    assert row["taken_by"].startswith("'=")


# --- on the screen --------------------------------------------------------------------


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.COUNTER))
    with time_machine.travel(DAY, tick=True):
        yield client


def test_the_desk_counts_and_closes(desk):
    a_day()
    where = reverse("day_close:days")
    page = desk.get(where).content.decode()
    assert "€40.00" in page and "Opening float" in page
    told = {
        "day": DAY.isoformat(),
        "opening": "100",
        "counted": "139",
        "cash_removed": "",
    }
    page = desk.post(where, told).content.decode()
    assert "€1.00 is missing" in page and 'value="139"' in page
    page = desk.post(
        where, told | {"why": "A coin fell."}, follow=True
    ).content.decode()
    assert "Till closed." in page and "A coin fell." in page
    page = desk.post(where, told).content.decode()
    assert "for 5 Mar 2026 was already closed" in page
    assert DayClose.objects.count() == 1


@pytest.mark.parametrize("counted", ["", "1e5", "NaN", "-1", "9" * 400, "1.000,50"])
def test_a_count_that_makes_no_sense_is_told_and_kept(desk, counted):
    told = {"day": "2026-03-05", "opening": "0", "counted": counted, "why": "x"}
    page = desk.post(reverse("day_close:days"), told)
    assert page.status_code == 200 and "problem" in page.content.decode()
    assert counted in page.content.decode() and not DayClose.objects.exists()


@pytest.mark.parametrize("day", ["", "0001-01-01", "9999-12-31", "soon", "2026-03-06"])
def test_a_day_that_makes_no_sense_is_told(desk, day):
    told = {"day": day, "opening": "0", "counted": "0"}
    page = desk.post(reverse("day_close:days"), told)
    assert page.status_code == 200 and "problem" in page.content.decode()
    assert not DayClose.objects.exists()


@pytest.mark.parametrize("n", [1, 8])
def test_the_days_ask_the_same_however_many(desk, n, django_assert_num_queries):
    for back in range(n, 0, -1):
        close(0, day=DAY - timedelta(days=back))
    # session, user, shop, last day, takings, count, days
    with django_assert_num_queries(8):
        page = desk.get(reverse("day_close:days"))
    assert len(page.context["table"].rows) == n
    made = DayClose.objects.first()
    assert desk.get(made.get_absolute_url()).status_code == 200
