"""The owner reads the report and its details; all staff see a fault's fix record."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from shopdesk.staff.models import Role
from tests import make

pytestmark = pytest.mark.django_db
TABLE = "/comebacks/"


def today():
    return timezone.localdate()


def ago(n):
    return today() - timedelta(days=n)


def shop_of(pairs, *, comebacks=2, others=10):
    """Pairs of one fault, each with so many repairs with and without a comeback."""
    fault = make.fault()
    fixes = [make.fix(fault) for _ in range(pairs)]
    for fix in fixes:
        for n in range(comebacks):
            make.past_repair(fault, fix, on=ago(200 + n), back_on=ago(190))
        for n in range(others):
            make.past_repair(fault, fix, on=ago(150 + n))
    return fault, fixes


def page(client, url, **params):
    answer = client.get(url, params)
    assert answer.status_code == 200
    return answer


def page_text(answer):
    return " ".join(answer.content.decode().split())


def test_too_many_comebacks_come_first_with_their_counts(owner):
    fault, _ = shop_of(3)
    bad = make.fix(fault, code="BAD", fix_type="lasting")
    for n in range(9):
        make.past_repair(fault, bad, on=ago(200 + n), back_on=ago(190))
    answer = page(owner, TABLE)
    first = answer.context["report"].rows[0]
    assert (first.fix, first.verdict, first.mismatch) == (
        "BAD",
        "too many comebacks",
        "performs like a stopgap",
    )
    assert "recorded as lasting; 9 of 9 repairs came back" in page_text(answer)


def test_each_row_links_to_its_jobs(owner):
    fault, [fix] = shop_of(1)
    link = f"{reverse('knowledge:pair', args=[fault.pk, fix.pk])}?as_of={today()}"
    text = page_text(page(owner, TABLE)).replace("&amp;", "&")
    for number, what in ((12, "repairs"), (2, "comebacks")):
        counted = f'{number}<span class="unseen"> {what} of {fault.code} / {fix.code}'
        assert f'{link}&within=90#caption">{counted}' in text
    outcomes = page(owner, reverse("knowledge:pair", args=[fault.pk, fix.pk]))
    text = page_text(outcomes)
    for repair in fix.repairs.all():
        assert repair.job.get_absolute_url() in text
    assert text.count("</svg>comeback</span>") == 2


def test_the_page_shows_the_limits_of_the_report(owner):
    shop_of(1)
    text = page_text(page(owner, TABLE))
    for sentence in (
        "Ranges are approximate.",
        "Comebacks repaired elsewhere are not recorded",
        "is a judgement and may be wrong",
        "is not a good result",
    ):
        assert sentence in text


def test_not_enough_repairs_is_drawn_open_and_dotted(owner):
    fault = make.fault()
    few, many = make.fix(fault), make.fix(fault)
    make.past_repair(fault, few, on=ago(200))
    for n in range(60):
        make.past_repair(fault, many, on=ago(150 + n))
    answer = page(owner, TABLE)
    text = page_text(answer)
    verdicts = {row.fix: row.verdict for row in answer.context["report"].rows}
    assert verdicts == {few.code: "not enough repairs", many.code: "reliable"}
    assert text.count('<path class="line open"') == 1
    assert text.count('<path class="dot"') == 1


def test_another_date_or_period_can_be_chosen(owner):
    fault, fix = make.fault(), None
    fix = make.fix(fault)
    make.past_repair(fault, fix, on=ago(100), back_on=ago(60))
    assert page(owner, TABLE).context["report"].comebacks == 1
    assert page(owner, TABLE, within=30).context["report"].comebacks == 0
    assert page(owner, TABLE, as_of=ago(61)).context["report"].comebacks == 0
    assert page(owner, TABLE, as_of=ago(101)).context["report"].repairs == 0


@pytest.mark.parametrize(
    ("params", "sentence"),
    [
        ({"as_of": "yesterday"}, "Enter the date as year-month-day"),
        ({"as_of": ""}, "Enter a date"),
        ({"as_of": "0001-01-01"}, "Enter a date between 1990-01-01 and today."),
        ({"as_of": "9999-12-31"}, "Enter a date between 1990-01-01 and today."),
        ({"as_of": "2048-01-01"}, "This date is in the future."),
        ({"within": "ninety"}, "Enter the days as a whole number"),
        ({"within": "0"}, "Enter at least 1 day"),
        ({"within": "-5"}, "Enter at least 1 day"),
        ({"within": "100000"}, "Enter at most 730 days"),
        ({"within": "9" * 5000}, "whole number"),
        ({"within": ""}, "Enter the days"),
    ],
)
def test_invalid_input_is_reported_and_stays_in_the_field(owner, params, sentence):
    shop_of(1)
    answer = page(owner, TABLE, **params)
    assert sentence in page_text(answer)
    assert "report" not in answer.context
    [(name, typed)] = params.items()
    assert f'value="{typed}"' in page_text(answer) or not typed
    assert answer.context["form"].errors.keys() == {name}


def test_an_empty_shop_has_a_page(owner):
    assert "No fixed repairs handed over by that day." in page_text(page(owner, TABLE))


def test_a_pair_without_repairs_says_so_and_an_unknown_one_is_a_404(owner):
    fault = make.fault()
    fix = make.fix(fault)
    answer = page(owner, reverse("knowledge:pair", args=[fault.pk, fix.pk]))
    assert "No repairs handed over by" in page_text(answer)
    for wrong in ((fault.pk, fix.pk + 999), (10**30, fix.pk)):
        missing = owner.get(reverse("knowledge:pair", args=wrong))
        assert missing.status_code == 404


def test_the_record_of_a_fault_is_a_page_and_a_fragment(owner):
    fault, fixes = shop_of(2)
    unused = make.fix(fault, code="NOT_OBSERVED-DONE")
    address = reverse("knowledge:fault_record", args=[fault.pk])
    whole = page_text(page(owner, address))
    fragment = page_text(owner.get(address, headers={"HX-Request": "true"}))
    assert "<html" in whole
    assert "<html" not in fragment
    for text in (whole, fragment):
        assert all(fix.code in text for fix in (*fixes, unused))
        assert "2 of 12</a> within 90 days" in text
        assert "no history yet" in text


@pytest.mark.parametrize("kind", [Role.COUNTER, Role.BENCH])
def test_the_table_is_for_the_owner_and_a_fix_record_for_all_staff(client, kind):
    client.force_login(make.user(kind), "django.contrib.auth.backends.ModelBackend")
    fault, [fix] = shop_of(1)
    assert client.get(TABLE).status_code == 403
    pair = reverse("knowledge:pair", args=[fault.pk, fix.pk])
    assert client.get(pair).status_code == 403
    record = reverse("knowledge:fault_record", args=[fault.pk])
    assert client.get(record).status_code == 200


def test_the_pages_require_sign_in(client):
    fault = make.fault()
    for address in (TABLE, reverse("knowledge:fault_record", args=[fault.pk])):
        assert client.get(address).status_code == 302


@pytest.mark.parametrize("name", ["table", "pair", "fault_record"])
def test_more_rows_need_no_more_queries(owner, name, django_assert_max_num_queries):
    counts = []
    for pairs in (1, 29):
        fault, [fix, *_] = shop_of(pairs, comebacks=1, others=pairs)
        address = {
            "table": TABLE,
            "pair": reverse("knowledge:pair", args=[fault.pk, fix.pk]),
            "fault_record": reverse("knowledge:fault_record", args=[fault.pk]),
        }[name]
        owner.get(address)
        with django_assert_max_num_queries(25) as queries:
            page(owner, address)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_table_can_be_sorted(owner):
    shop_of(3)
    answer = page(owner, TABLE, sort="-comeback_allowance")
    rows = [row.record.comeback_allowance for row in answer.context["table"].rows]
    assert rows == sorted(rows, reverse=True)
