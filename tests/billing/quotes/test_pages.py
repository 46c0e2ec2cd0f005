"""The quote on screen: written without a script, refused in sentences."""

from decimal import Decimal

import pytest
from django.db import transaction
from django.db.utils import DatabaseError
from django.urls import reverse

from billing.quotes import drafting, sending
from billing.quotes.models import Quote, QuoteLine, QuoteOption
from shopdesk.staff.models import Role
from tests import make
from tests.billing import till

pytestmark = [pytest.mark.django_db, pytest.mark.once]


@pytest.fixture
def desk(client):
    client.force_login(make.user(Role.OWNER))
    return client


def boxes(page):
    """What a browser would send back of the page's forms."""
    sent = {}
    for form in page.context["forms"]:
        for field in form:
            value = field.value()
            shown = field.field.prepare_value(value)
            sent[field.html_name] = "" if shown is None else str(shown)
    return sent


def draft(desk, quote, **changed):
    page = desk.get(quote.get_absolute_url())
    return boxes(page) | changed


def test_a_draft_is_made_from_the_jobs_page(desk):
    job = till.diagnosed()
    where = reverse("quotes:for_job", args=[job.pk])
    assert "Create quote" in desk.get(where).content.decode()
    page = desk.post(where, {"then": "draft"}, follow=True)
    assert page.status_code == 200 and "Lasting mend" in page.content.decode()
    assert "Create quote" not in desk.get(where).content.decode()


def test_a_warranty_repair_is_approved_without_a_quote(desk):
    job = till.warranty_job(is_repaired=False)
    where = reverse("quotes:for_job", args=[job.pk])
    assert "no quote needed" in desk.get(where).content.decode()
    desk.post(where, {"then": "approve"})
    job.refresh_from_db()
    assert job.state == "approved" and not Quote.objects.exists()


def test_approving_without_warranty_is_refused(desk):
    job = till.diagnosed()
    where = reverse("quotes:for_job", args=[job.pk])
    page = desk.post(where, {"then": "approve"}, follow=True)
    assert "must accept a quote first" in page.content.decode()
    job.refresh_from_db()
    assert job.state == "diagnosed"


def test_words_options_and_lines_are_changed_and_kept(desk):
    quote = till.drafted()
    option = quote.options.first()
    line = option.lines.first()
    desk.post(
        quote.get_absolute_url(),
        draft(
            desk,
            quote,
            **{
                "q-findings": "The plug hole is loose.",
                f"o{option.pk}-warranty_days": "90",
                f"l{line.pk}-price": "49,50",
                f"l{line.pk}-quantity": "2",
            },
        ),
    )
    quote.refresh_from_db()
    option.refresh_from_db()
    line.refresh_from_db()
    assert quote.findings == "The plug hole is loose." and option.warranty_days == 90
    assert (line.price, line.amount, line.suggested) == (Decimal("49.50"), 99, 51)


def test_a_reason_that_may_state_costs_is_kept_from_who_may_not_see_them(client):
    quote = till.drafted()
    option, other = quote.options.all()
    option.price_reason = "The part costs us 41.20."
    option.save()
    client.force_login(make.user(Role.COUNTER))
    page = client.get(quote.get_absolute_url()).content.decode()
    assert "41.20" not in page and "Our cost" not in page
    sent = draft(client, quote, **{f"o{other.pk}-price_reason": "A regular."})
    sent |= {f"o{option.pk}-price_reason": "", f"o{option.pk}-title": "New jack"}
    where = reverse("quotes:recalculate", args=[quote.pk])
    totals = client.post(where, sent).content.decode()
    assert "Total" in totals and "Our cost" not in totals
    assert client.post(quote.get_absolute_url(), sent).status_code == 302
    reasons = [one.price_reason for one in quote.options.all()]
    assert reasons == ["The part costs us 41.20.", "A regular."]
    assert quote.options.first().title == "New jack"
    client.force_login(make.user(Role.OWNER))
    assert "41.20" in client.get(quote.get_absolute_url()).content.decode()
    assert "Our cost" in client.post(where, sent).content.decode()


def test_a_line_is_added_and_taken_out(desk):
    quote = till.drafted()
    option = quote.options.first()
    new = {f"n{option.pk}-text": "Cleaning", f"n{option.pk}-price": "5"}
    desk.post(quote.get_absolute_url(), draft(desk, quote, **new))
    line = option.lines.get(text="Cleaning")
    assert line.position == 3 and line.suggested is None
    desk.post(quote.get_absolute_url(), draft(desk, quote, then=f"line {line.pk}"))
    assert not option.lines.filter(text="Cleaning").exists()


def test_options_are_added_up_to_five_and_taken_out(desk):
    quote = till.drafted()
    where = quote.get_absolute_url()
    for _ in range(4):
        page = desk.post(where, draft(desk, quote, then="add option"), follow=True)
    assert quote.options.count() == 5
    assert "at most 5 options" in page.content.decode()
    desk.post(where, draft(desk, quote, then=f"option {quote.options.first().pk}"))
    assert quote.options.count() == 4


def test_removing_keeps_what_was_typed_elsewhere(desk):
    quote = till.drafted()
    one, other = quote.options.all()
    typed = {"then": f"option {other.pk}", f"o{one.pk}-title": "New socket"}
    desk.post(quote.get_absolute_url(), draft(desk, quote, **typed))
    assert quote.options.get().title == "New socket"


def test_thirty_lines_are_the_most(desk):
    quote = till.drafted(fixes=["stopgap"])
    option = quote.options.get()
    line = option.lines.get()
    for n in range(29):
        line.pk, line.position = None, n + 2
        line._state.adding = True
        line.save()
    page = desk.get(quote.get_absolute_url())
    assert f"n{option.pk}-text" not in page.content.decode()
    assert desk.post(quote.get_absolute_url(), boxes(page)).status_code == 302


@pytest.mark.parametrize(
    ("box", "typed", "said"),
    [
        ("price", "1e5", "such as 1234.50"),
        ("price", "NaN", "such as 1234.50"),
        ("price", "1.000,50", "such as 1234.50"),
        ("price", "-1", "Enter at least 0"),
        ("price", "9" * 400, "such as 1234.50"),
        ("price", "9999999999", "Enter at most 1000000000"),
        ("quantity", "0", "Enter a quantity"),
        ("quantity", "-0", "Enter a quantity"),
        ("quantity", "-2", "Enter at least 0"),
        ("tax_kind", "101", "not one of the available choices"),
        ("text", "", "required"),
        ("kind", "bribe", "valid choice"),
    ],
)
def test_a_box_that_makes_no_sense_is_told_and_nothing_is_saved(desk, box, typed, said):
    quote = till.drafted()
    line = QuoteLine.objects.first()
    before = QuoteLine.objects.values().get(pk=line.pk)
    typed_in = {f"l{line.pk}-{box}": typed, "q-findings": "Typed by hand."}
    for where in (quote.get_absolute_url(), reverse("quotes:send", args=[quote.pk])):
        page = desk.post(where, draft(desk, quote, **typed_in))
        text = page.content.decode()
        assert page.status_code == 200 and said in text and "Typed by hand." in text
        assert typed in text
    assert QuoteLine.objects.values().get(pk=line.pk) == before
    quote.refresh_from_db()
    assert quote.state == "draft" and quote.findings != "Typed by hand."


def test_a_line_dearer_than_can_be_kept_is_told(desk):
    quote = till.drafted()
    line = QuoteLine.objects.first()
    expensive = {f"l{line.pk}-price": "999999999", f"l{line.pk}-quantity": "9999"}
    page = desk.post(quote.get_absolute_url(), draft(desk, quote, **expensive))
    assert "The amount of a line must not exceed" in page.content.decode().replace(
        "&#x27;", "’"
    )


def test_totals_follow_what_is_in_the_boxes_and_nothing_is_saved(desk):
    quote = till.drafted()
    line = QuoteLine.objects.first()
    page = desk.post(
        reverse("quotes:recalculate", args=[quote.pk]),
        draft(desk, quote, **{f"l{line.pk}-price": "100"}),
    )
    assert "€129.60" in page.content.decode()  # (100 + 8) with 20 %
    line.refresh_from_db()
    assert line.price == 51
    broken = draft(desk, quote, **{f"l{line.pk}-price": "a hundred"})
    page = desk.post(reverse("quotes:recalculate", args=[quote.pk]), broken)
    assert page.status_code == 200 and "€9.60" in page.content.decode()


def test_save_and_send_keeps_the_last_word_typed(desk):
    quote = till.drafted()
    desk.post(
        reverse("quotes:send", args=[quote.pk]),
        draft(desk, quote, **{"q-findings": "Loose plug hole."}),
    )
    quote.refresh_from_db()
    assert quote.state == "sent" and quote.findings == "Loose plug hole."


def test_a_sent_quote_takes_no_more_changes(desk):
    quote = till.drafted()
    typed = draft(desk, quote, **{"q-findings": "Too late."})
    sending.send(quote, stamp=make.stamp(on=till.TODAY))
    page = desk.post(quote.get_absolute_url(), typed, follow=True)
    assert "can no longer be changed" in page.content.decode()
    quote.refresh_from_db()
    assert quote.findings != "Too late."


@pytest.mark.parametrize(
    "change",
    [
        lambda quote: Quote.objects.update(findings="Other words"),
        lambda quote: Quote.objects.update(pdf=b"%PDF-other"),
        lambda quote: QuoteOption.objects.update(warranty_days=9999),
        lambda quote: QuoteLine.objects.update(price=Decimal(1)),
        lambda quote: QuoteLine.objects.all().delete(),
        lambda quote: QuoteOption.objects.create(quote=quote, position=9, title="More"),
    ],
)
def test_the_database_refuses_to_change_what_was_sent(change):
    quote = till.sent()
    before = list(QuoteLine.objects.values())
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic():
        change(quote)
    quote.refresh_from_db()
    assert quote.findings.startswith("We found")
    assert (
        list(QuoteLine.objects.values()) == before and QuoteOption.objects.count() == 2
    )


def answered(quote, kind="yes", **facts):
    facts = {"who": "Ada", "how": "phone"} | facts
    return {f"{kind}-{name}": value for name, value in facts.items()} | {"answer": kind}


def test_a_yes_at_the_counter(desk):
    quote = till.drafted()
    sending.send(quote, stamp=make.stamp(on=till.TODAY.today()))
    option = quote.options.last()
    where = reverse("quotes:answer", args=[quote.pk])
    page = desk.post(where, answered(quote, option=option.pk), follow=True)
    assert "Accepted: “Stopgap mend”" in page.content.decode()
    desk.post(where, answered(quote, option=option.pk))  # the button pressed twice
    quote.refresh_from_db()
    assert quote.accepted_option == option
    assert quote.job.transitions.filter(to_state="approved").count() == 1


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"option": ""}, "required"),
        ({"option": "999999"}, "valid choice"),
        ({"option": "1" * 30}, "valid choice"),
        ({"who": ""}, "required"),
        ({"how": "by dream"}, "valid choice"),
    ],
)
def test_a_yes_with_something_wrong_is_told_and_kept(desk, facts, said):
    quote = till.drafted()
    sending.send(quote, stamp=make.stamp(on=till.TODAY.today()))
    facts = {"option": quote.options.first().pk, "who": "Grandson"} | facts
    page = desk.post(
        reverse("quotes:answer", args=[quote.pk]), answered(quote, **facts)
    )
    text = page.content.decode()
    assert page.status_code == 200 and said in text
    assert "Grandson" in text or not facts["who"]
    quote.refresh_from_db()
    assert quote.state == "sent" and quote.job.state == "quoted"


def test_an_expired_quote_takes_no_yes_on_the_page_either(desk):
    quote = till.sent()  # long ago: Expired on April
    page = desk.get(quote.get_absolute_url()).content.decode()
    assert "expired" in page and "Record acceptance" not in page
    page = desk.post(
        reverse("quotes:answer", args=[quote.pk]),
        answered(quote, option=quote.options.first().pk),
    )
    assert "Expired on" in page.content.decode()
    quote.refresh_from_db()
    assert quote.state == "sent"


def test_a_quote_revised_while_someone_answers(desk):
    quote = till.drafted()
    sending.send(quote, stamp=make.stamp(on=till.TODAY.today()))
    form = answered(quote, option=quote.options.first().pk)
    desk.post(reverse("quotes:revise", args=[quote.pk]))
    page = desk.post(reverse("quotes:answer", args=[quote.pk]), form)
    assert "revised meanwhile" in page.content.decode()
    assert "version 2" in page.content.decode()
    assert not Quote.objects.filter(state="accepted").exists()


def test_a_no_needs_its_reason(desk):
    quote = till.sent()
    where = reverse("quotes:answer", args=[quote.pk])
    page = desk.post(where, answered(quote, "no", why=""))
    assert "required" in page.content.decode()
    desk.post(where, answered(quote, "no", why="not worth it"))
    quote.refresh_from_db()
    assert (quote.state, quote.answer_why) == ("declined", "not worth it")


@pytest.mark.parametrize("n", [1, 8])
def test_the_list_asks_the_same_however_many_quotes(desk, n, django_assert_num_queries):
    quotes = [till.drafted(with_part=False) for _ in range(n)]
    for quote in quotes[::3]:
        sending.send(quote, stamp=make.stamp(on=till.TODAY))
    desk.get(reverse("quotes:all"))
    # session, user, count, shop, quotes, options, lines
    with django_assert_num_queries(8):
        assert desk.get(reverse("quotes:all")).status_code == 200


@pytest.mark.parametrize("n", [0, 3])
def test_a_draft_asks_the_same_however_many_options(desk, n, django_assert_num_queries):
    quote = till.drafted()
    for _ in range(n):
        drafting.add_option(quote)
    desk.get(quote.get_absolute_url())  # the record of the fixes is in the cache
    with django_assert_num_queries(19):
        typed = boxes(desk.get(quote.get_absolute_url()))
    with django_assert_num_queries(10):  # one asks whether the form was sent before
        desk.post(reverse("quotes:recalculate", args=[quote.pk]), typed)


@pytest.mark.parametrize(
    ("status", "shown"),
    [
        ("draft", 1),
        ("waiting", 0),
        ("expired", 1),
        ("answered", 1),
        ("all", 4),
        ("", 3),
    ],
)
def test_the_list_is_narrowed(desk, status, shown):
    till.drafted()
    till.sent()
    till.accepted()
    drafting.revise(till.sent(), stamp=make.stamp()).delete()
    page = desk.get(reverse("quotes:all"), {"status": status})
    assert len(page.context["table"].rows) == shown


def test_a_question_that_makes_no_sense_shows_the_list(desk):
    page = desk.get(reverse("quotes:all"), {"status": "💥", "page": "x", "sort": "y"})
    assert page.status_code == 200


def test_only_bench_and_owner_see_what_was_suggested(client):
    quote = till.drafted()
    line = QuoteLine.objects.first()
    line.price = Decimal(40)
    line.save()
    seen = {}
    for kind in Role:
        client.force_login(make.user(kind))
        seen[kind] = client.get(quote.get_absolute_url()).content.decode()
    sending.send(quote, stamp=make.stamp(on=till.TODAY))
    for kind in Role:
        client.force_login(make.user(kind))
        sent = client.get(quote.get_absolute_url()).content.decode()
        sees = kind != Role.COUNTER
        assert (">Suggested<" in seen[kind]) == sees
        assert ("suggested €51.00" in sent) == sees
