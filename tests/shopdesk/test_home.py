from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from billing.quotes.models import Quote
from repairs.jobs import states
from repairs.jobs.models import Job, ReturnDecision
from repairs.jobs.numbers import ALPHABET, label_code
from shopdesk.home import need_of, needing_a_hand
from tests import make

ON = date(2026, 3, 20)


@pytest.fixture
def desk(client, db):
    make.shop(country="GB")
    client.force_login(make.user("owner"))
    return client


def board(on=ON):
    return {job.pk: need_of(job, on=on) for job in needing_a_hand(on=on)}


@pytest.mark.django_db
def test_each_job_stands_once_where_it_needs_a_hand_most():
    late = ON - timedelta(days=1)
    calm = make.job(promised_on=ON)
    expected = make.job(state=states.EXPECTED, promised_on=late)
    overdue = make.job(promised_on=late, waiting_on="parts")
    parts = make.job(waiting_on="parts")
    quoted = make.job(state=states.QUOTED)
    ready = make.job(state=states.READY, outcome=states.FIXED, promised_on=late)
    gone = make.job(
        state=states.HANDED_BACK,
        outcome=states.FIXED,
        handed_back_on=make.DAY,
        promised_on=late,
    )
    fault = make.fault()
    earlier = make.past_repair(fault, make.fix(fault), on=make.DAY)
    undecided = make.comeback(earlier, on=ON, what=states.UNDECIDED).job
    assert board() == {
        expected.pk: "expected",
        overdue.pk: "overdue",
        parts.pk: "parts",
        quoted.pk: "quoted",
        ready.pk: "ready",
        undecided.pk: "return",
    }
    assert calm.pk not in board() and gone.pk not in board()


@pytest.mark.django_db
def test_only_the_last_decision_about_a_return_counts():
    fault = make.fault()
    earlier = make.past_repair(fault, make.fix(fault), on=make.DAY)
    job = make.comeback(earlier, on=ON, what=states.UNDECIDED).job
    assert board() == {job.pk: "return"}
    ReturnDecision.objects.create(
        job=job, earlier=earlier, what=states.NEW_FAULT, decided_on=ON
    )
    assert board() == {}


def test_today_says_why_each_job_needs_a_hand(desk):
    today = timezone.localdate()
    make.job(promised_on=today - timedelta(days=3), complaint="x")
    make.job(state=states.READY, outcome=states.FIXED, uncollected_since=make.DAY)
    make.job(state=states.EXPECTED)
    quoted = make.job(state=states.QUOTED)
    Quote.objects.create(
        job=quoted,
        version=1,
        state="sent",
        currency="EUR",
        sent_at=timezone.now(),
        valid_until=today - timedelta(days=1),
        paper_hash="x",
    )
    page = desk.get(reverse("today")).text
    assert "4 jobs need a hand." in page
    assert "3 days ago" in page and "uncollected" in page
    assert "ran out" in page and "It has arrived" in page


def test_an_empty_day_says_so(desk):
    assert "Nothing needs a hand." in desk.get(reverse("today")).text


def test_the_bench_is_not_sent_where_it_may_not_go(client, db):
    make.job(state=states.READY, outcome=states.FIXED)
    client.force_login(make.user("bench"))
    page = client.get(reverse("today")).text
    assert "Ready to hand back" in page and ">Hand back<" not in page


def test_today_asks_as_often_for_1_as_for_30(desk):
    def fill():
        make.job(promised_on=make.DAY)
        make.job(waiting_on="parts")
        make.job(state=states.READY, outcome=states.FIXED)
        make.job(state=states.QUOTED)
        make.job(state=states.EXPECTED)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            desk.get(reverse("today"))
        return len(queries)

    fill()
    asked()
    before = asked()
    for _ in range(6):
        fill()
    assert asked() == before


# --- the find box -----------------------------------------------------------


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


def test_a_wrong_check_character_is_told_and_opens_nothing(desk):
    make.job(number="26-00412")
    right = label_code("26-00412")[-1]
    for wrong in ALPHABET.replace(right, ""):
        answer = find(desk, f"26-00412-{wrong}")
        assert answer.status_code == 200 and "misread" in answer.text
    swapped = label_code("26-00412").replace("412", "421")
    assert "misread" in find(desk, swapped).text


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
    assert "the first 20" in page and page.count(">Fenwick ") == 20


def test_nothing_found_offers_to_book_in(desk):
    page = find(desk, "nobody & co").text
    assert "Nothing is found." in page and "?who=nobody%20%26%20co" in page


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
