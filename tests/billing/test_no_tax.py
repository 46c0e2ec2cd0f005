"""Where no tax is charged, pages and papers say why instead of “0 %”."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.quotes import drafting, sending
from repairs.customers.models import Customer
from shopdesk.money import TaxedLine, totals
from shopdesk.shop import tax
from shopdesk.shop.models import TaxRate
from tests import make
from tests.billing import till
from tests.papers import text_of

pytestmark = pytest.mark.django_db

REASONS = {
    tax.EXEMPT: "Small business, exempt by § 19 of the local act",
    tax.REVERSE: "Reverse charge: the customer owes the tax",
    tax.OUTSIDE: "Outside the scope of tax",
}


def held(kind):
    """The shop’s own sentence for a kind of tax."""
    TaxRate.objects.create(kind=kind, starts_on=date(2020, 1, 1), reason=REASONS[kind])


def said_by(client, url):
    answer = client.get(url)
    assert answer.status_code == 200
    if answer["Content-Type"] == "application/pdf":
        return " ".join(text_of(answer.content, "-raw").split())
    return answer.content.decode()


@pytest.mark.parametrize("include_tax", [False, True])
@pytest.mark.parametrize("kind", REASONS)
def test_every_page_and_paper_gives_the_reason(client, kind, include_tax):
    make.shop(tax_kind=kind, prices_include_tax=include_tax)
    held(kind)
    client.force_login(make.user())
    buyer = make.customer(tax_id="DE123456789")
    draft = till.drafted(of=make.device(owner=buyer))
    places = [draft.get_absolute_url(), reverse("quotes:paper", args=[draft.pk])]
    before = [said_by(client, place) for place in places]
    sent = sending.send(draft, stamp=make.stamp(on=till.TODAY))
    after = [said_by(client, place) for place in places]
    till.mend(till.accept_online(sent).job)
    counter = said_by(client, reverse("handover:hand_over", args=[sent.job.pk]))
    bill = issue_invoice(sent.job, stamp=make.stamp(on=till.TODAY))
    note = issue_credit_note(bill, why="Wrong name.", stamp=make.stamp(on=till.TODAY))
    bills = [
        page
        for one in (bill, note)
        for page in (
            one.get_absolute_url(),
            reverse("invoices:paper", args=[one.pk]),
        )
    ]
    told = [*before, *after, counter, *(said_by(client, place) for place in bills)]
    assert len(told) == 9
    for said in told:
        assert REASONS[kind] in said
        assert (
            "Tax 0 %" not in said
            and "% tax" not in said
            and "Total incl. tax" not in said
        )
        assert "tax included" not in said.lower() or "Lines, tax included" in said


def test_a_zero_rate_is_a_rate(client):
    make.shop(tax_rate=0)
    client.force_login(make.user())
    quote = till.sent()
    assert "Tax 0 %" in said_by(client, quote.get_absolute_url())


def test_a_customer_under_reverse_charge_gets_it_without_a_word_to_the_desk(client):
    """Their kind goes before the shop’s; until it has its own sentence, ours stands."""
    make.shop(tax_rate=Decimal(19))
    job = till.diagnosed()
    Customer.objects.filter(pk=job.customer_id).update(tax_kind=tax.REVERSE)
    job.refresh_from_db()
    quote = drafting.draft(job, stamp=make.stamp(on=till.TODAY))
    client.force_login(make.user())
    said = said_by(client, reverse("quotes:paper", args=[quote.pk]))
    assert "Reverse charge" in said and "19 %" not in said


def test_two_reasons_of_one_kind_are_both_said():
    line = TaxedLine(Decimal(1), Decimal(10), Decimal(0), "E", "Books")
    other = TaxedLine(Decimal(2), Decimal(5), Decimal(0), "E", "Repairs of books")
    (group,) = totals([line, other, line]).groups
    assert group.reasons == ("Books", "Repairs of books")
    assert (group.net, group.tax) == (30, 0)
