"""From the quote to the credit note, each step on the screen that it is done at."""

from decimal import Decimal

import pytest
from django.utils import timezone

from billing.invoices.models import Invoice
from billing.quotes.links import create_link
from billing.quotes.models import Quote
from repairs.jobs.models import Job
from tests import make
from tests.billing import till
from tests.browser.rules import axe

pytestmark = pytest.mark.django_db(transaction=True)
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


def test_quote_yes_work_invoice_part_payment_rest_and_credit_note(
    sign_in, new_context, live_server, stocked_shop
):
    quote = till.sent(on=timezone.localdate())
    job, lasting = quote.job, quote.options.get(fix_type="lasting")
    token = create_link(job, stamp=make.stamp())[1]

    # The customer, on a telephone.
    phone = new_context(base_url=live_server.url, **PHONE).new_page()
    phone.set_default_timeout(90_000)
    phone.goto(f"/q/{token}/")
    phone.get_by_label(lasting.title).check()
    phone.get_by_label("Your name").first.fill("Ada Fenwick")
    phone.get_by_role("button", name="Order with obligation to pay").click()
    phone.get_by_text("Approved. The repair").wait_for()
    assert Quote.objects.get().accepted_option == lasting
    gross = lasting.totals().gross
    assert gross > 30

    # The bench repairs, tests and closes; test_story.py covers its pages.
    till.mend(Job.objects.get(pk=job.pk))
    phone.reload()
    phone.get_by_text("ready", exact=False).first.wait_for()

    # The counter hands it over and takes part of the money.
    counter = sign_in("counter")
    counter.goto(f"/till/hand-back/{job.pk}/")
    assert axe(counter) == []
    counter.get_by_label("Amount in").fill("30")
    counter.get_by_label("cash").check()
    counter.get_by_label("Collected by").fill("Ada Fenwick")
    counter.get_by_role("button", name="Hand over device").click()
    counter.get_by_text("Collected by Ada Fenwick").wait_for()
    assert axe(counter) == []
    invoice = Invoice.objects.get()
    assert (invoice.gross, invoice.balance) == (gross, gross - 30)

    # The customer pays the rest.
    counter.goto(invoice.get_absolute_url())
    assert axe(counter) == []
    box = counter.get_by_label("Amount in")
    assert Decimal(box.input_value()) == gross - 30
    counter.get_by_label("card").check()
    counter.get_by_role("button", name="Record payment").click()
    counter.locator("h1").get_by_text("paid").wait_for()
    assert Invoice.objects.get().balance == 0

    # It was billed by mistake: a credit note takes it back, and the money is owed back.
    counter.get_by_role("link", name="Create credit note").click()
    counter.get_by_label("Reason for credit").wait_for()
    assert axe(counter) == []
    counter.get_by_label("Reason for credit").fill("Billed to the wrong company")
    counter.get_by_role("button", name="Create credit note").click()
    counter.get_by_role("heading", name="Credit note").wait_for()
    note = Invoice.objects.get(kind=Invoice.Kind.CREDIT_NOTE)
    assert (note.gross, note.credits) == (-gross, invoice)
    invoice.refresh_from_db()
    assert invoice.balance == -gross
    counter.goto(invoice.get_absolute_url())
    counter.get_by_text(note.full_number).first.wait_for()
    assert counter.complaints == []
