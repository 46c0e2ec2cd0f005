"""Two at the same moment: one wins, and it is counted once."""

import pytest
from django.test import Client
from django.utils import timezone

from billing.quotes.models import Quote
from repairs.jobs.models import JobTransition
from shopdesk.errors import InvalidTransitionError
from shopdesk.staff.models import RequestCount
from shopdesk.staff.rate_limit import RateLimit, seconds_until_allowed
from tests import make
from tests.at_once import all_at_once
from tests.billing.customer_page.conftest import boxes

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*acts):
    """What each of them answers, when all are done at the same moment."""
    answers = []
    failed = all_at_once(*(lambda act=act: answers.append(act()) for act in acts))
    assert failed == []
    return answers


def posting(customer, sent):
    return lambda: Client().post(customer.where, sent).status_code


def test_of_a_yes_to_each_option_one_wins(customer, quote):
    page = customer.read()
    first = boxes(page, "yes") | {"yes-who": "Ada", "answer": "yes"}
    other = first | {"yes-option": quote.options.last().pk, "yes-who": "Bert"}
    answers = at_once(posting(customer, first), posting(customer, other))
    assert sorted(answers) == [303, 409]
    quote = Quote.objects.get(pk=quote.pk)
    won = {"Ada": quote.options.first(), "Bert": quote.options.last()}
    assert quote.accepted_option == won[quote.answered_by]
    assert JobTransition.objects.filter(job=quote.job, to_state="approved").count() == 1


def test_the_same_yes_twice_at_once_is_one(customer, quote):
    sent = boxes(customer.read(), "yes") | {"yes-who": "Ada", "answer": "yes"}
    assert at_once(*[posting(customer, sent)] * 2) == [303, 303]
    assert Quote.objects.get(pk=quote.pk).state == "accepted"
    assert JobTransition.objects.filter(job=quote.job, to_state="approved").count() == 1


def test_of_a_yes_and_a_no_one_wins(customer, quote):
    page = customer.read()
    yes = boxes(page, "yes") | {"yes-who": "Ada", "answer": "yes"}
    no = boxes(page, "no") | {"no-who": "Ada", "no-why": "No", "answer": "no"}
    answers = at_once(posting(customer, yes), posting(customer, no))
    assert sorted(answers) == [303, 409]
    quote = Quote.objects.select_related("job").get(pk=quote.pk)
    assert (quote.state, quote.job.state) in [
        ("accepted", "approved"),
        ("declined", "declined"),
    ]


def test_a_yes_and_a_revising_at_once_agree_to_no_replaced_quote(customer, quote):
    from billing.quotes import drafting

    sent = boxes(customer.read(), "yes") | {"yes-who": "Ada", "answer": "yes"}

    def revise():
        try:
            return drafting.revise(
                Quote.objects.get(pk=quote.pk), stamp=make.stamp()
            ).version
        except InvalidTransitionError:
            return "refused"

    answers = at_once(posting(customer, sent), revise)
    assert 2 in answers and ({303, 409} & set(answers))
    # Whoever came first: the old version is replaced, its job waits for the new one.
    kept = Quote.objects.select_related("job").get(pk=quote.pk)
    assert (kept.state, kept.job.state) == ("replaced", "diagnosed")


def test_knocks_at_once_are_all_counted(customer):
    def request_page():
        return seconds_until_allowed("k" * 64, RateLimit(3), at=timezone.now())

    waits = at_once(*[request_page] * 6)
    assert RequestCount.objects.get().count >= 4
    assert sum(wait == 0 for wait in waits) <= 3
