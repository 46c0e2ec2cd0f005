"""Text that would break lines, papers or databases is clean before any form sees it."""

import unicodedata

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from billing.quotes.papers import render_quote_pdf
from repairs.customers.models import Customer
from repairs.faults.models import Fault
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role
from shopdesk.text import MAX_ACCENTS, MAX_MARKS, clean_text
from tests import make, papers
from tests.billing import till
from tests.sent_forms import typed_in
from tests.shopdesk.shop.page import PAGE, as_typed

HEAP = "\u0315" * 300
BAD = f"a\u202eb\u200bc\x00d\u2066e{HEAP}"
GOOD = "abcde" + "\u0315" * MAX_ACCENTS


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        (BAD, GOOD),
        ("one\r\ntwo\n\tthree", "one\r\ntwo\n\tthree"),
        ("one\u2028two", "one two"),
        ("a\ud800b\udfff", "ab"),
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("👩\u200d🔧 ❤\ufe0f", "👩\u200d🔧 ❤\ufe0f"),
        ("\u0600١٢", "\u0600١٢"),  # Arabic number sign, which is seen
        ("བསྒྲུབས་", "བསྒྲུབས་"),
        ("שָׁלוֹם", unicodedata.normalize("NFC", "שָׁלוֹם")),
        ("ที่นี่", "ที่นี่"),
        ("e\u200b\u0301", "é"),
        ("x" + "\u0e34" * 300, "x" + "\u0e34" * MAX_MARKS),
        # What is no mark itself must not let a heap begin again.
        ("x" + "\u0315\u200d\u0315\ufe0f" * 99, "x\u0315\u200d\u0315\ufe0f"),
    ],
)
def test_every_script_stays_and_nothing_invisible_does(typed, kept):
    cleaned = clean_text(typed)
    assert cleaned.startswith(kept)
    assert cleaned == kept or cleaned.count("\u0315") <= MAX_ACCENTS


@given(st.text(st.characters(categories=["L", "Mn", "Me", "Cf", "Cc", "Cs", "Zs"])))
def test_cleaning_twice_changes_nothing(text):
    once = clean_text(text)
    assert clean_text(once) == once
    once.encode()  # no lone surrogate is left


def test_forms_store_clean_text_and_keep_line_breaks(client, db):
    client.force_login(make.user(Role.OWNER))
    fault = make.fault()
    page = client.get(reverse("faults:change", args=[fault.pk]))
    entries = typed_in(page) | {"name": BAD, "notes": f"{BAD}\r\nsecond line"}
    assert client.post(page.request["PATH_INFO"], entries).status_code == 302
    stored = Fault.objects.get(pk=fault.pk)
    assert stored.name == GOOD
    assert stored.notes.splitlines() == [GOOD, "second line"]
    client.post(PAGE, as_typed(quote_text=BAD, other_contact=BAD))
    shop = Shop.objects.get()
    assert (shop.quote_text, shop.other_contact) == (GOOD, GOOD)


def test_a_record_stored_before_is_edited_without_a_conflict(client, db):
    client.force_login(make.user(Role.OWNER))
    fault = make.fault(notes=f"as imported: a\u202eb\u200b\u00ad{HEAP}")
    page = client.get(reverse("faults:change", args=[fault.pk]))
    entries = typed_in(page) | {"name": "Another name"}
    assert client.post(page.request["PATH_INFO"], entries).status_code == 302
    fault.refresh_from_db()
    assert fault.name == "Another name" and "\u202e" not in fault.notes


def test_lines_of_a_quote_are_clean_on_paper(client, db):
    client.force_login(make.user(Role.OWNER))
    quote = till.drafted()
    line = quote.options.first().lines.first()
    page = client.get(quote.get_absolute_url())
    entries = typed_in(page) | {f"l{line.pk}-text": BAD, "q-findings": BAD}
    assert client.post(quote.get_absolute_url(), entries).status_code == 302
    line.refresh_from_db()
    assert line.text == GOOD
    quote.refresh_from_db()
    facts = {"shop": Shop.current(), "made_at": quote.made_at}
    words = papers.words_of(render_quote_pdf(quote, **facts))
    assert "abcde" in words and "\u202e" not in words and HEAP[:9] not in words


@pytest.mark.parametrize("text", [BAD, "\ud800", "%00", "\x00", HEAP, "\u202e"])
def test_searches_and_filters_are_clean(client, db, text):
    client.force_login(make.user(Role.OWNER))
    make.customer("abcde Fenwick")
    query = text.encode("utf-8", "surrogatepass")
    for name, key in (
        ("find", "q"),
        ("stock:parts", "q"),
        ("customers:all", "q"),
        ("trail:all", "q"),
        ("bench:list", "q"),
        ("intake:find_customer", "query"),
    ):
        response = client.get(reverse(name), {key: query})
        assert response.status_code < 400, name
    assert Customer.objects.count() == 1


def test_passwords_stay_as_typed(client, db):
    phrase = "quiet lamp\u200b over nine\u00ad tins"
    user = make.user(Role.OWNER)
    user.set_password(phrase)
    user.save()
    make.shop(owners_need_second_factor=False)
    sent = {"username": user.username, "password": phrase}
    client.post(reverse("staff:sign_in"), sent)
    assert client.session.get("_auth_user_id") == str(user.pk)
