"""The warranty certificate."""

from io import BytesIO

import pikepdf
import pytest
from django.urls import reverse

from billing.handover.actions import hand_over
from repairs.jobs import workflow
from tests import make
from tests.billing import till
from tests.papers import text_of

pytestmark = pytest.mark.django_db


def certificate(client, job):
    client.force_login(make.user())
    return client.get(reverse("handover:certificate", args=[job.pk]))


def text(pdf):
    return " ".join(text_of(pdf).split())


@pytest.mark.paper
def test_it_says_what_until_when_and_what_ends_it(client):
    make.shop(warranty_text="It ends where others open the device.")
    job = till.handed_over().job
    pdf = certificate(client, job).content
    said = text(pdf)
    for words in (
        "Charging socket loose",
        "Lasting mend",
        "lasting repair (intended to last)",
        "1 Sep 2026",
        "180 days",
        "It ends where others open the device.",
        job.number,
    ):
        assert words in said, words
    assert len(pikepdf.open(BytesIO(pdf)).pages) == 1


@pytest.mark.paper
@pytest.mark.parametrize(
    ("language", "words"),
    [
        ("en", "expected to last about 3 weeks from handover"),
        ("de", "hält ab Übergabe voraussichtlich etwa 3 Wochen"),
    ],
)
def test_a_stopgap_says_how_long_it_is_expected_to_last(client, language, words):
    make.shop(paper_language=language)
    job = till.ready()
    job.repairs.update(
        fix_type="stopgap",
        expected_days=21,
        customer_note="Keep it dry.",
        note="Board is beyond cleaning.",
    )
    hand_over(job, version=None, stamp=make.stamp(till.TODAY))
    said = text(certificate(client, job).content)
    assert words in said and "Keep it dry." in said
    assert "beyond cleaning" not in said


def test_it_keeps_the_words_that_were_promised(client):
    make.shop(warranty_text="The old promise.")
    job = till.handed_over().job
    before = certificate(client, job).content
    make.shop(warranty_text="A smaller promise.")
    assert "The old promise." in text(certificate(client, job).content)
    assert certificate(client, job).content == before


def test_there_is_none_before_the_device_is_handed_over(client):
    assert certificate(client, till.ready()).status_code == 404


def test_there_is_none_where_nothing_was_fixed(client):
    job = till.diagnosed()
    workflow.close(
        job,
        outcome="no_fault_found",
        why="Ran clean for three days.",
        stamp=make.stamp(),
    )
    hand_over(job, version=None, stamp=make.stamp(on=till.TODAY))
    assert certificate(client, job).status_code == 404
