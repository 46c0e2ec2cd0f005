"""A quote goes to the customer by mail: the kept paper, and a link that answers it."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from billing.quotes import drafting
from shopdesk.mail.models import Email
from tests import make
from tests.billing import till

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client):
    client.force_login(make.user(role="counter"))
    return client


def sent(email="ada@fenwick.example"):
    owner = make.customer(email=email)
    return till.sent(on=timezone.localdate(), of=make.device(owner=owner))


def test_the_kept_paper_goes_out_with_a_link_that_opens_it(desk, client):
    quote = sent()
    page = desk.get(quote.get_absolute_url()).content.decode()
    where = reverse("quotes:mail", args=[quote.pk])
    assert where in page
    desk.post(where)
    letter = Email.objects.get()
    quote.refresh_from_db()
    assert bytes(letter.attachments.get().file) == bytes(quote.pdf)
    assert letter.to == "ada@fenwick.example"
    link = re.search(r"https?://\S+", letter.text)[0]
    client.logout()
    opened = client.get(link.removeprefix("http://testserver"))
    assert opened.status_code == 200 and "Lasting mend" in opened.content.decode()


def test_without_an_address_no_letter_and_no_link_is_made(desk):
    quote = sent(email="")
    assert "Mail it" not in desk.get(quote.get_absolute_url()).content.decode()
    page = desk.post(reverse("quotes:mail", args=[quote.pk]), follow=True)
    assert "Add an email address" in page.content.decode()
    assert not Email.objects.exists() and not quote.job.links.exists()


def test_only_what_waits_for_an_answer_is_mailed(desk):
    quote = sent()
    drafting.revise(quote, stamp=make.stamp())
    page = desk.post(reverse("quotes:mail", args=[quote.pk]), follow=True)
    assert "Only a sent quote" in page.content.decode()
    assert not Email.objects.exists()
