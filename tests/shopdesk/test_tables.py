"""Lists: read without eyes, sorted and paged by the address, counted queries."""

from decimal import Decimal

import pytest
from django.template import Context, Template
from django.test import RequestFactory
from django_tables2 import RequestConfig
from lxml import html as lxml_html

from shopdesk.look import tables
from shopdesk.look.shop_formats import money
from shopdesk.shop.models import Shop
from shopdesk.staff.models import User
from tests import make


def tree(text):
    return lxml_html.fromstring(text)


class PeopleTable(tables.ListTable):
    caption = "People"
    row_header = "name"

    username = tables.CodeColumn()
    name = tables.Column()
    kind = tables.BadgeColumn(accessor="get_kind_display", order_by="kind")
    created_at = tables.DateColumn()
    pay = tables.MoneyColumn(empty_values=(), orderable=False)

    def render_pay(self, record):
        return money(Decimal(record.pk), self.shop)


def table_page(query="", rows=None):
    request = RequestFactory().get("/people/" + query)
    table = PeopleTable(User.objects.all() if rows is None else rows)
    table = RequestConfig(request).configure(table)
    return tree(
        Template('{% include "shopdesk/look/table.html" %}').render(
            Context({"table": table, "request": request, "shop": Shop(pk=1)})
        )
    )


@pytest.mark.django_db
def test_a_table_can_be_read_without_eyes():
    make.user(name="Ada Quill")
    page = table_page("?sort=-name&after=2026-01-01")
    region = page.xpath("//*[@role='region']")[0]
    assert region.get("tabindex") == "0"
    assert page.get_element_by_id(region.get("aria-labelledby")).tag == "caption"
    assert [th.get("scope") for th in page.xpath("//thead//th")] == ["col"] * 5
    assert page.xpath("//tbody//th[@scope='row']")[0].text == "Ada Quill"
    assert page.xpath("//th[@aria-sort]/@aria-sort") == ["descending"]
    assert page.xpath("//th[@aria-sort]/a/@href") == ["?sort=name&after=2026-01-01"]
    assert "num" in page.xpath("//tbody//td[last()]/@class")[0]
    assert not page.xpath("//thead//th[last()]/a"), "pay can't be sorted"


@pytest.mark.django_db
def test_sorting_starts_again_at_the_first_page():
    for _ in range(60):
        make.user()
    page = table_page("?page=2&sort=name")
    assert "Page 2 of 3" in page.text_content()
    assert "26–50 of 60" in page.text_content()
    assert all("page=" not in link for link in page.xpath("//thead//a/@href"))
    assert page.xpath("//a[@rel='prev']/@href") == ["?page=1&sort=name"]
    last = table_page("?page=3&sort=name")
    assert not last.xpath("//a[@rel='next']")


@pytest.mark.django_db
@pytest.mark.parametrize(
    "query",
    [
        "?page=0", "?page=-3", "?page=x", "?page=99999999999999999999", "?per_page=0",
        "?per_page=-5", "?per_page=999999999", "?sort=nothing", "?sort=--name",
        "?sort=pay", "?sort=", "?page=1&page=2", "?sort=name,-name", "?page=%00",
    ],
)  # fmt: skip
def test_a_strange_address_still_gives_a_page(query):
    make.user(name="Ada Quill")
    page = table_page(query)
    assert "Ada Quill" in page.text_content()


@pytest.mark.django_db
def test_per_page_has_a_limit():
    request = RequestFactory().get("/?per_page=999999999")
    assert RequestConfig(request).configure(PeopleTable([])).paginator.per_page == 200


@pytest.mark.django_db
def test_a_table_asks_as_often_for_one_row_as_for_thirty(django_assert_num_queries):
    for rows in (1, 29):
        for _ in range(rows):
            make.user()
        with django_assert_num_queries(3):  # how many, which, and what they hold
            table_page()


@pytest.mark.django_db
def test_money_in_a_table_outside_a_page_asks_for_the_shop_once(
    django_assert_num_queries,
):
    class Bills(tables.ListTable):
        total = tables.MoneyColumn()

    make.shop(currency="USD", locale="en_US")
    bills = Bills([{"total": Decimal(n)} for n in range(30)])
    with django_assert_num_queries(1):
        shown = bills.rows_html()
    assert ">$2.00<" in shown.splitlines()[2]


def test_an_empty_table_says_so():
    assert "Nothing here." in table_page(rows=[]).text_content()


def test_a_cell_can_carry_no_markup():
    class Notes(tables.ListTable):
        note = tables.Column()

    request = RequestFactory().get("/")
    source = Template('{% include "shopdesk/look/table.html" %}')
    table = Notes([{"note": "<script>x</script>"}])
    assert "<script>" not in source.render(
        Context({"table": table, "request": request})
    )
