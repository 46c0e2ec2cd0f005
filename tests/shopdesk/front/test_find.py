from decimal import Decimal
from itertools import count
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape

from billing.invoices.models import Invoice, Payment, Receipt
from billing.quotes.models import Quote
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.shop.numbering import ALPHABET, label_code
from tests import make

NOT_READ = "The label was not read correctly."


@pytest.fixture
def desk(client, db):
    make.shop(country="GB")
    client.force_login(make.user("owner"))
    return client


def find(desk, words, **how):
    return desk.get(reverse("find"), {"q": words}, **how)


@pytest.mark.parametrize(
    "scanned",
    ["26-00412", " 26-00412 ", label_code("26-00412"), label_code("26-00412").lower()],
)
def test_a_number_or_a_scanned_label_goes_straight_to_its_job(desk, scanned):
    job = make.job(number="26-00412")
    make.job(number="26-004120")
    assert find(desk, scanned).url == job.get_absolute_url()


def test_a_label_scanned_with_another_keyboard_is_read_all_the_same(desk):
    job = make.job(number="26-00412")
    code = label_code("26-00412").replace("-", "ß")
    assert find(desk, code).url == job.get_absolute_url()


@pytest.mark.parametrize("letter", "YZ")
def test_a_german_keyboard_swaps_two_letters_besides(desk, letter):
    numbers = (f"26-{n:05d}" for n in count(1))
    number = next(n for n in numbers if label_code(n).endswith(letter))
    job = make.job(number=number)
    typed = label_code(number).translate(str.maketrans("-YZ", "ßZY"))
    assert find(desk, typed).url == job.get_absolute_url()


def test_a_wrong_check_character_is_told_and_opens_nothing(desk):
    make.job(number="26-00412")
    right = label_code("26-00412")[-1]
    for wrong in ALPHABET.replace(right, ""):
        answer = find(desk, f"26-00412-{wrong}")
        assert answer.status_code == 200 and NOT_READ in answer.text
    swapped = label_code("26-00412").replace("412", "421")
    assert NOT_READ in find(desk, swapped).text


def test_a_number_of_an_older_book_is_no_misread_label(desk):
    job = make.job(number="26-00412-Z", is_from_history=True)
    assert find(desk, "26-00412-z").url == job.get_absolute_url()


@pytest.mark.parametrize(
    ("words", "what"),
    [
        ("sn 77a", "device"),
        ("020 7946 0018", "customer"),
        ("ada@fenwick.example", "customer"),
        ("ADA FENWICK", "customer"),
        ("p-77", "part"),
        ("mk-9", "part"),
    ],
)
def test_one_exact_hit_goes_straight_there(desk, words, what):
    ada = make.customer(
        "Ada Fenwick", phone="+442079460018", email="ada@fenwick.example"
    )
    make.customer("Ada Fenwickson", phone="+442079460019")
    things = {
        "customer": ada,
        "device": make.device(ada, serial="SN-77A"),
        "part": make.part("P-77", maker_number="MK-9"),
    }
    make.part("P-770")
    make.device(ada, serial="SN-77AB")
    assert find(desk, words).url == things[what].get_absolute_url()


def test_two_with_one_phone_are_both_shown(desk):
    make.customer("Ada Fenwick", phone="+442079460018")
    make.customer("Bo Larsén", phone="+442079460018")
    page = find(desk, "02079460018").text
    assert "Ada Fenwick" in page and "Bo Larsén" in page


def test_what_the_words_may_mean_is_grouped(desk):
    owner = make.customer("Quill Fenwick")
    make.job(make.device(owner, serial="QUILL-1"), number="QUILL-9")
    make.part("QUILL-5")
    page = find(desk, "quill").text
    for kind in ("Jobs", "Customers", "Devices", "Parts"):
        assert f">{kind}<" in page


def test_a_serial_that_is_easily_misread_is_found(desk):
    make.device(serial="SN-0O1I")
    assert "SN-0O1I" in find(desk, "SNOO11").text


def test_a_long_list_is_cut_and_says_so(desk):
    for n in range(30):
        make.customer(f"Fenwick {n}")
    page = find(desk, "fenwick").text
    assert "the first 10" in page and page.count(">Fenwick ") == 10


def test_nothing_found_offers_to_book_in(desk):
    page = find(desk, "nobody & co").text
    assert "No results." in page and "?query=nobody%20%26%20co" in page


@pytest.mark.parametrize(
    "words",
    [
        "",
        " ",
        "\x00",
        "a\x00b",
        "%",
        "_",
        "%_%",
        "x" * 10_000,
        "'; --",
        "\\",
        "ß" * 90,
        "\u202e",
        "9" * 200,
        "- - -",
        "🔧" * 50,
        "26-00412-",
        "(" * 200,
        "+" * 200,
    ],
)
def test_no_words_break_the_box(desk, words):
    make.job(make.device(make.customer("Ada Fenwick"), serial="SN-1"))
    answer = find(desk, words)
    assert answer.status_code == 200
    assert "Ada Fenwick" not in answer.text
    assert Job.objects.count() == 1


def test_the_box_without_a_question_asks_for_one(desk):
    assert desk.get(reverse("find")).status_code == 200


def test_finding_asks_as_often_for_1_as_for_30(desk):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            find(desk, "quill")
        return len(queries)

    def fill(n):
        owner = make.customer(f"Quill {n}")
        make.job(make.device(owner, serial=f"QUILL-{n}"), number=f"QUILL-J{n}")
        make.part(f"QUILL-P{n}")

    fill(0)
    asked()
    before = asked()
    for n in range(1, 31):
        fill(n)
    assert asked() == before


# --- papers of the till, parts and the fault book --------------------------


def bill(number, *, series="INV26", job=None, buyer="Fenwick Ltd", credits=None):
    job = job or make.job()
    sign = -1 if credits else 1
    return Invoice.objects.create(
        kind="credit" if credits else "invoice",
        credits=credits,
        series=series,
        number=number,
        job=job,
        customer=job.customer,
        buyer_name=buyer,
        buyer_country="GB",
        seller_name="The shop",
        seller_country="GB",
        issued_on=make.DAY,
        supplied_on=make.DAY,
        due_on=None if credits else make.DAY,
        currency="EUR",
        net=sign * Decimal(100),
        tax=sign * Decimal(20),
        gross=sign * Decimal(120),
        pdf=b"x",
        pdf_sha256="x",
    )


def receipt(number, *, job=None):
    job = job or make.job()
    paid = Payment.objects.create(
        job=job,
        amount=Decimal(20),
        currency="EUR",
        means="cash",
        key=uuid4(),
        paid_on=make.DAY,
        booked_on=make.DAY,
        taken_at=timezone.now(),
    )
    return Receipt.objects.create(
        payment=paid, series="R26", number=number, pdf=b"x", pdf_sha256="x"
    )


def quote(job, version=1, state="sent"):
    return Quote.objects.create(
        job=job,
        version=version,
        state=state,
        currency="EUR",
        sent_at=timezone.now(),
        valid_until=make.DAY,
        pdf_sha256="x",
    )


def one_of_each():
    """A record of each kind that is found by a number, beside one that is near."""
    job = make.job(make.device(serial="SN-1"), number="26-00412")
    fault = make.fault("PWR-JACK", "Socket loose")
    part = make.part("P-77", maker_number="MK-9", supplier_number="88-1204")
    things = {
        "bill": bill(42, job=job),
        "receipt": receipt(42, job=job),
        "quote": quote(job, 2),
        "part": part,
        "delivery": make.delivery(part, 5, lot="2431"),
        "fault": fault,
        "fix": make.fix(fault, code="JACK-NEW"),
    }
    things["note"] = bill(7, series="CN26", job=job, credits=things["bill"])
    bill(420, job=job)
    receipt(421, job=job)
    quote(job, 1, state="replaced")
    make.part("P-770", maker_number="MK-99", supplier_number="88-12044")
    make.delivery(part, 5, lot="24311")
    make.fault("PWR-JACKS")
    make.fix(fault, code="JACK-NEWER")
    return things


@pytest.mark.parametrize(
    ("words", "what"),
    [
        ("INV26-00042", "bill"),
        ("inv26-42", "bill"),
        ("INV26 00042", "bill"),
        ("INV2600042", "bill"),
        ("INV26ß00042", "bill"),
        ("INV26'00042", "bill"),
        ("cn26-00007", "note"),
        ("R26-00042", "receipt"),
        ("r26ß00042", "receipt"),
        ("26-00412/2", "quote"),
        ("26-00412 version 2", "quote"),
        ("26-00412, Version 2", "quote"),
        ("26-00412 v2", "quote"),
        ("88-1204", "part"),
        ("mk-9", "part"),
        ("MKß9", "part"),
        ("2431", "delivery"),
        ("pwr-jack", "fault"),
        ("PWRßJACK", "fault"),
        ("jack-new", "fix"),
    ],
)
def test_every_number_goes_straight_to_what_bears_it(desk, words, what):
    things = one_of_each()
    answer = find(desk, words)
    assert answer.status_code == 302
    assert answer.url == things[what].get_absolute_url()
    assert desk.get(answer.url).status_code == 200


def test_the_job_of_a_quote_is_meant_by_the_number_alone(desk):
    things = one_of_each()
    job = things["quote"].job
    assert find(desk, "26-00412").url == job.get_absolute_url()


def groups_of(answer):
    return {found.type.name: found.records for found in answer.context["results"]}


@pytest.mark.parametrize(
    ("words", "kind", "first"),
    [
        ("00042", "Invoices and credit notes", "bill"),
        ("INV26-", "Invoices and credit notes", None),
        ("26-0004", "Invoices and credit notes", None),
        ("fenwick l", "Invoices and credit notes", None),
        ("42", "Receipts", "receipt"),
        ("0412", "Quotes", "quote"),
        ("243", "Deliveries", None),
        ("socket loose", "Faults", "fault"),
        ("replace the", "Fixes", None),
        ("1204", "Parts", "part"),
    ],
)
def test_a_part_of_it_finds_all_it_may_be(desk, words, kind, first):
    things = one_of_each()
    found = groups_of(find(desk, words))[kind]
    assert len(found) >= 1
    if first:
        assert found[0] == things[first]


def test_a_bill_is_found_by_the_name_on_record_whatever_its_accents(desk):
    who = make.customer("Zoë Müller")
    make.customer("Zoë Müllerin")
    made = bill(1, job=make.job(make.device(who)), buyer="Workshop of the town")
    assert groups_of(find(desk, "ZOE mull"))["Invoices and credit notes"] == [made]
    assert groups_of(find(desk, "of the TOWN"))["Invoices and credit notes"] == [made]


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("4k7", "4700R 1% 0402"),
        ("4.7 kΩ", "4k7 0603"),
        ("100nF", "104 X7R"),
        ("0,1µF", "100nF"),
        ("90R@100MHz", "90R@100MHz 0603"),
        ("90 R @ 100 MHz", "90R@100MHz"),
    ],
)
def test_a_part_is_found_by_what_it_is(desk, words, value):
    wanted = make.part("P-1", value=value)
    make.part("P-2", value="5k1 10nF")
    make.part("P-3", value="90R@1GHz")
    assert groups_of(find(desk, words)) == {"Parts": [wanted]}


@pytest.mark.parametrize("words", ["LOTSTELLE", "lötstelle", "kalte LÖT", "pwr kalt"])
def test_case_and_accents_do_not_matter_in_the_fault_book(desk, words):
    fault = make.fault("PWR-COLD", "Kalte Lötstelle")
    make.fault("PWR-WET", "Feuchte Platine")
    assert groups_of(find(desk, words)) == {"Faults": [fault]}
    page = desk.get(reverse("faults:book"), {"q": words})
    assert "PWR-COLD" in page.text and "PWR-WET" not in page.text


def test_parts_of_the_value_stand_before_those_that_only_mention_it(desk):
    make.part("A-1", name="trimmer for 4k7 bridges")
    with_value = make.part("B-1", value="4k7 1% 0402")
    retired = make.part("A-2", value="4700R", is_retired=True)
    found = groups_of(find(desk, "4k7"))["Parts"]
    assert found[:2] == [with_value, retired] and len(found) == 3


def test_the_kind_that_fits_best_stands_first(desk):
    make.part("P-1", name="hinge of a marrow")
    make.customer("Marrow Fenwick")
    make.customer("Tom Marrow")
    assert list(groups_of(find(desk, "marrow"))) == ["Customers", "Parts"]
    make.part("MARROW-1")
    make.part("MARROW-2")
    Customer.objects.filter(name="Marrow Fenwick").delete()
    answer = find(desk, "marrow")
    assert list(groups_of(answer)) == ["Parts", "Customers"]


def test_a_whole_name_stands_before_those_that_begin_with_it(desk):
    for name in ("Ada Fenwickson", "Bea Ada Fenwick", "Ada Fenwick", "Ada Fenwick"):
        make.customer(name)
    names = [who.name for who in groups_of(find(desk, "ada fenwick"))["Customers"]]
    assert names == ["Ada Fenwick", "Ada Fenwick", "Ada Fenwickson", "Bea Ada Fenwick"]


def test_a_job_and_a_bill_of_one_number_are_both_shown(desk):
    job = make.job(number="INV26-00042", is_from_history=True)
    made = bill(42)
    groups = groups_of(find(desk, "inv26-00042"))
    assert groups == {"Jobs": [job], "Invoices and credit notes": [made]}


@pytest.mark.parametrize(
    ("words", "list_at"),
    [
        ("fenwick", "customers:all"),
        ("P-9", "stock:parts"),
        ("INV26-", "invoices:all"),
        ("PWR-", "faults:book"),
        ("T-", "quotes:all"),
        ("INV26", "invoices:all"),
    ],
)
def test_more_than_a_page_links_to_the_rooms_own_list_of_the_same(desk, words, list_at):
    for n in range(22):
        job = make.job(make.device(make.customer(f"Fenwick & Co {n}")), number=f"T-{n}")
        bill(n + 1, job=job)
        quote(job)
        make.part(f"P-9{n:02}", is_retired=True)
        make.fault(f"PWR-{n}", is_retired=True)
    founds = find(desk, words).context["results"]
    found = next(f for f in founds if f.type.list_url_name == list_at)
    assert found.is_truncated and len(found.records) == 10
    page = desk.get(found.all_url)
    assert page.status_code == 200 and page.context["table"].paginator.count == 22
    assert f'href="{escape(found.all_url)}"' in find(desk, words).text


@pytest.mark.parametrize(
    ("kind", "words"), [("Jobs", "T-"), ("Devices", "SN-9"), ("Deliveries", "L-")]
)
def test_a_kind_without_a_list_of_its_own_is_turned_over_page_by_page(
    desk, kind, words
):
    for n in range(52):
        make.job(make.device(serial=f"SN-9{n:02}"), number=f"T-{n}")
        make.delivery(make.part(), 1, lot=f"L-{n}")
    founds = find(desk, words).context["results"]
    found = next(f for f in founds if f.type.name == kind)
    first = desk.get(found.all_url)
    assert "1–50 of 52" in first.text and 'rel="next"' in first.text
    second = desk.get(found.all_url + "&page=2")
    assert "51–52 of 52" in second.text
    seen = [
        one.pk for page in (first, second) for one in page.context["result"].records
    ]
    assert len(set(seen)) == len(seen) == 52
    for page in ("0", "-1", "x", "9" * 5000, ""):
        assert desk.get(f"{found.all_url}&page={page}").status_code == 200


def test_only_kinds_that_one_may_see_are_listed(client, db):
    make.shop(country="GB")
    one_of_each()
    client.force_login(make.user("bench"))
    for only in ("Receipts", "Invoices and credit notes", "x", "\x00"):
        answer = client.get(reverse("find"), {"q": "42", "only": only})
        assert answer.status_code == 200 and "26-00042" not in answer.text


@pytest.mark.parametrize("kind", ["counter", "bench", "owner"])
def test_nobody_is_led_where_they_may_not_go(client, db, kind):
    make.shop(country="GB")
    client.force_login(make.user(kind))
    things = one_of_each()
    make.fix(code="ALONE-1", name="Replace nothing")
    for words in ("INV26-00042", "R26-00042", "42", "fenwick", "jack", "alone", "26"):
        answer = find(client, words)
        if answer.status_code == 302:
            assert client.get(answer.url).status_code == 200
            continue
        for records in groups_of(answer).values():
            for one in records:
                assert client.get(one.get_absolute_url()).status_code == 200
    answer = find(client, "INV26-00042")
    if kind == "bench":
        assert "No results." in answer.text and "Receipts" not in answer.text
    else:
        assert answer.url == things["bill"].get_absolute_url()


def test_a_fix_without_a_fault_is_found_where_it_can_be_changed(client, desk):
    fix = make.fix(code="ALONE-1", name="Replace nothing")
    assert find(desk, "alone-1").url == fix.get_absolute_url()
    client.force_login(make.user("counter"))
    assert "No results." in find(client, "alone-1").text


def test_a_fix_is_shown_with_a_fault_that_is_in_use(desk):
    old = make.fault("A-OLD", is_retired=True)
    new = make.fault("B-NEW")
    fix = make.fix(old, new, code="JACK-NEW")
    assert find(desk, "jack-new").url == f"{new.get_absolute_url()}#{fix.code}"
    assert f'id="{fix.code}"' in desk.get(new.get_absolute_url()).text


def test_nothing_found_says_what_can_be_sought(desk):
    page = find(desk, "nobody & co").text
    for said in (
        "Invoices, credit notes",
        "4k7",
        "lot or date code",
        "by code or name",
    ):
        assert said in page


def test_what_was_erased_is_not_found_by_name(desk):
    make.customer("Ada Fenwick", phone="+442079460018", erased_on=make.DAY)
    assert groups_of(find(desk, "fenwick")) == {}
    assert groups_of(find(desk, "020 7946 0018")) == {}


@pytest.mark.parametrize("kind", ["counter", "bench", "owner"])
@pytest.mark.parametrize("words", ["77", "quill", "QUILL-7"])
def test_all_kinds_ask_as_often_for_1_as_for_30(client, db, kind, words):
    make.shop(country="GB")
    client.force_login(make.user(kind))

    def fill(n):
        job = make.job(
            make.device(make.customer(f"Quill {n}"), serial=f"QUILL-77{n:02}"),
            number=f"QUILL-77{n:02}",
        )
        bill(7700 + n, job=job, buyer=f"Quill {n}")
        receipt(7700 + n, job=job)
        quote(job)
        part = make.part(f"QUILL-77{n:02}")
        make.delivery(part, 1, lot=f"QUILL-77{n:02}")
        make.fix(make.fault(f"QUILL-77{n:02}"), code=f"QUILL-77{n:02}")

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert find(client, words).status_code == 200
        return len(queries)

    fill(0)
    asked()
    before = asked()
    for n in range(1, 31):
        fill(n)
    assert asked() == before <= 30
