"""What costs the shop reaches nobody whose role may not see it, on any page or file.

Figures that occur nowhere else are planted as costs, and everything that a person can
open is searched for them: links, fragments, forms that are sent, CSV, JSON and PDFs.
"""

import re
from collections import Counter
from contextlib import suppress
from io import BytesIO
from urllib.parse import parse_qsl, urljoin, urlsplit

import pikepdf
import pytest
from django.db import connection, transaction
from django.db.models import Max
from django.urls import NoReverseMatch, Resolver404, resolve, reverse
from lxml import html

from billing.changes.models import ChangeOrder
from billing.guards import GUARDS as billing_guards
from billing.handover.models import Parcel
from billing.invoices.models import DayClose, Invoice, Receipt, Reminder
from billing.quotes.models import Link, Quote, QuoteOption
from billing.repair_form.models import RepairInformationForm
from repairs.customers.models import Customer, Device
from repairs.faults.models import Check, Fault, Fix, Symptom
from repairs.guards import GUARDS as repair_guards
from repairs.jobs.models import Comeback, Job, PartUsed, Repair
from repairs.knowledge.fix_comparison import included_tax, usual_costs
from repairs.photos.models import Photo, PhotoLink
from repairs.stock.models import Delivery, Part
from shopdesk import triggers
from shopdesk.api.actions import create_token
from shopdesk.api.models import ApiToken
from shopdesk.mail.models import Email
from shopdesk.recording.models import TrailEntry
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role, User
from shopdesk.staff.permissions import PUBLIC_URLS, can_open, roles_for
from shopdesk.stamp import Stamp
from tests import make, papers
from tests.shopdesk.staff.url_roles import EXPECTED

pytestmark = [pytest.mark.django_db, pytest.mark.once]

# Of lists with hundreds of rows, this many pages of each kind are opened.
MOST_OF_A_KIND = 2
# They end the session or the transaction's user, and show no record.
NOT_OPENED = {"staff:sign_out", "staff:switch", "staff:password", "staff:end_device"}

PLANTED = {
    "hourly cost": "6187.43",
    "target margin": "23.19",
    "markup": "583.71",
    "unit cost": "7831.3579",
    "cost of a part used": "8271.4653",
    "cost of a repair": "9134.1779",
    "parts cost of the history": "4113.7971",
    "allowance of a repair": "1793.1397",
    "cost of a comeback": "6238.71",
    "own cost of an option": "7312.91",
    "rework cost of an option": "8294.37",
    "allowance of an option": "1987.41",
    "minimum price": "9775.31",
    "reason of a price": "6419.37",
}
ONLY_ON_PAGES_OF_THE_OWNER = {"hourly cost", "cost of a comeback"}


@pytest.fixture
def planted(demo):
    """Plant the figures; the value tells which of them a text contains."""
    guards = [*repair_guards, *billing_guards]
    refusals = [each for each in guards if isinstance(each, triggers.ForbidChange)]
    with connection.cursor() as cursor:
        for statement in triggers.drop(refusals, vendor=connection.vendor):
            cursor.execute(statement)
    p = PLANTED
    Shop.objects.update(
        hourly_cost=p["hourly cost"],
        target_margin=p["target margin"],
        markup=p["markup"],
    )
    Delivery.objects.update(unit_cost=p["unit cost"])
    PartUsed.objects.update(cost=p["cost of a part used"])
    Repair.objects.update(
        cost=p["cost of a repair"],
        parts_cost_from_history=p["parts cost of the history"],
        comeback_allowance=p["allowance of a repair"],
    )
    Comeback.objects.update(cost=p["cost of a comeback"])
    QuoteOption.objects.update(
        own_cost=p["own cost of an option"],
        rework_cost=p["rework cost of an option"],
        comeback_allowance=p["allowance of an option"],
        list_price=1,
        min_price=p["minimum price"],
        price_reason=f"The part alone costs {p['reason of a price']} now.",
    )
    figures = {what: spellings(figure) for what, figure in p.items()}
    shop = Shop.current()
    tax = included_tax(make.DAY, shop)
    derived = usual_costs(list(Fix.objects.all()), shop=shop, included_tax=tax).values()
    costs = {f"{each.cost:.2f}" for each in derived if each.cost > 1000}
    figures = {"cost of a fix": set().union(*map(spellings, costs)), **figures}
    every = {digits: what for what, those in figures.items() for digits in those}
    return lambda text: {
        every[number] for number in numbers_in(text) if number in every
    }


def spellings(figure):
    """The digits of an amount with four decimals, and to the cent."""
    exact = figure.replace(".", "")
    whole, _, part = figure.partition(".")
    cents = f"{float(figure):.2f}".replace(".", "")
    return {exact, cents, whole + part.rstrip("0")}


def numbers_in(text):
    """The digits of each number of a text, however it is grouped."""
    return set(re.findall(r"\d+", re.sub(r"(?<=\d)[.,'’\u00a0\u202f](?=\d)", "", text)))


class Walk:
    """All that one person can open: what is found there, and by which URLs."""

    def __init__(self, client, user, figures, *, most):
        client.force_login(user)
        client.raise_request_exception = False
        self.client, self.user, self.figures, self.most = client, user, figures, most
        self.opened, self.opened_by_kind, self.wrong = set(), Counter(), []
        self.found = {}
        self.waiting = list(seeds())
        self.in_front = set(self.waiting)

    @property
    def names(self):
        return {name for name, *_ in self.opened_by_kind}

    def walk(self):
        while self.waiting:
            self.open(self.waiting.pop(0))
        return self

    def open(self, address):
        parts = urlsplit(address)
        try:
            name = resolve(parts.path).view_name
        except Resolver404:
            return
        kind = (name, *sorted({key for key, _ in parse_qsl(parts.query)}))
        is_known = address in self.opened or name in NOT_OPENED | PUBLIC_URLS
        is_full = self.opened_by_kind[kind] >= self.most
        if is_known or (is_full and address not in self.in_front):
            return
        self.opened.add(address)
        self.opened_by_kind[kind] += 1
        self.note(address, self.client.get(address))
        if parts.query or self.opened_by_kind[kind] > 1:
            return
        self.note(address, self.client.get(address, headers={"HX-Request": "true"}))
        if can_open(self.user, name):
            self.send(address)

    def send(self, address):
        """Send an empty form, and undo what it did."""
        with transaction.atomic():
            self.note(f"POST {address}", self.client.post(address, {}))
            transaction.set_rollback(True)

    def note(self, address, response):
        if response.status_code >= 500:
            self.wrong.append((address, response.status_code))
        text = text_of(response)
        for what in self.figures(text):
            self.found.setdefault(what, set()).add(address)
        if url := response.get("Location"):
            self.waiting.append(url)
        if "html" in response.get("Content-Type", "") and text.strip():
            self.waiting += links(text, at=address.removeprefix("POST "))


def text_of(response):
    body = response.getvalue()
    if response.get("Content-Type", "").startswith("application/pdf"):
        with pikepdf.open(BytesIO(body)) as pdf:
            files = [file.get_file().read_bytes() for file in pdf.attachments.values()]
        return " ".join([papers.text_of(body), *(file.decode() for file in files)])
    return body.decode(errors="replace")


def links(page, *, at):
    """The addresses of this site that a page links to or loads."""
    tree = html.fromstring(page)
    found = [*tree.xpath("//@href"), *tree.xpath("//@hx-get")]
    found += tree.xpath("//form[not(@method) or @method='get']/@action")
    addresses = [urlsplit(urljoin(at, link)) for link in found]
    return [a._replace(fragment="").geturl() for a in addresses if not a.netloc]


def seeds():
    """Pages that are linked from few records, and records in every state."""
    yield from ("/", reverse("find") + "?q=78", reverse("find") + "?q=7831.35")
    for name in sorted(EXPECTED):
        if name not in PUBLIC_URLS:
            yield from addresses(name)
    for job in {job.state: job for job in Job.objects.order_by("id")}.values():
        yield job.get_absolute_url()
        yield reverse("quotes:for_job", args=[job.pk])
    for quote in {quote.state: quote for quote in Quote.objects.all()}.values():
        yield quote.get_absolute_url()
    last = TrailEntry.objects.exclude(kind="").values("kind").annotate(n=Max("id"))
    for entry in TrailEntry.objects.filter(id__in=last.values("n")):
        key = entry.parent_kind, entry.parent
        key = key if entry.parent_kind else (entry.kind, entry.record)
        yield reverse("trail:record", args=key)


# Rooms and pages by the record whose key their addresses hold.
BY_RECORD = {
    Job: "bench returns handover intake changes:for_job customer_links quotes:for_job"
    " repair_form:for_job repair_form:make invoices:for_job invoices:create"
    " changes:so_far diagnosis photos:for_job photos:create_link",
    Photo: "photos",
    PhotoLink: "photos:revoke_link",
    Quote: "quotes",
    Invoice: "invoices reminders",
    Receipt: "invoices:receipt",
    Reminder: "reminders:paper",
    DayClose: "day_close",
    Email: "mail",
    RepairInformationForm: "repair_form",
    ChangeOrder: "changes:answer",
    Link: "customer_links:revoke",
    Customer: "customers",
    Device: "customers:device customers:change_device customers:new_owner",
    Part: "stock",
    Delivery: "stock:enter_cost",
    Fault: "faults knowledge diagnosis:fixes",
    Fix: "faults:change_fix",
    Check: "faults:change_check",
    Symptom: "faults:change_symptom",
    Parcel: "handover:parcel_number",
    User: "staff",
    ApiToken: "api_tokens:revoke",
}


def addresses(name):
    """Addresses of the URL of this name, with the keys of the last record."""
    room = name.partition(":")[0]
    rooms = {each: model for model, all_ in BY_RECORD.items() for each in all_.split()}
    model = rooms.get(name) or rooms.get(room)
    last = model.objects.order_by("pk").last() if model else None
    fix = last.fixes.first() if isinstance(last, Fault) else None
    for args in ([], [last and last.pk], [last and last.pk, fix and fix.pk]):
        with suppress(NoReverseMatch):
            yield reverse(name, args=args)


def walk(client, role, figures, *, most=1, **settings):
    Shop.objects.update(**settings)
    user = User.objects.filter(role=role).first()
    walked = Walk(client, user, figures, most=most).walk()
    assert walked.wrong == []
    return walked


@pytest.mark.parametrize(
    ("role", "setting"),
    [(Role.COUNTER, "counter_sees_costs"), (Role.BENCH, "bench_sees_costs")],
)
def test_costs_are_shown_where_the_shop_says_so(client, planted, role, setting):
    hidden = walk(client, role, planted, most=MOST_OF_A_KIND, **{setting: False})
    assert hidden.found == {}
    may_open = {name for name in EXPECTED if role in roles_for(name)}
    assert may_open - hidden.names - NOT_OPENED == set()
    shown = walk(client, role, planted, **{setting: True})
    assert set(shown.found) == {*PLANTED, "cost of a fix"} - ONLY_ON_PAGES_OF_THE_OWNER


@pytest.mark.parametrize("shows_costs", [False, True])
def test_the_api_shows_costs_only_to_a_token_that_may(client, planted, shows_costs):
    owner = User.objects.filter(role=Role.OWNER).first()
    scope = {"shows_costs": shows_costs, "shows_personal_data": True}
    stamp = Stamp.now(owner)
    _, token = create_token(name="All lists", days=1, stamp=stamp, **scope)
    headers = {"Authorization": f"Bearer {token}"}
    found = set()
    for name in sorted(each for each in PUBLIC_URLS if each.startswith("api:")):
        cursor = 0
        while cursor is not None:
            is_table = name == "api:comeback_table"
            params = {} if is_table else {"cursor": cursor, "limit": 500}
            answer = client.get(reverse(name), params, headers=headers)
            assert answer.status_code == 200
            found |= planted(text_of(answer))
            cursor = answer.json().get("next_cursor")
    shown = {"unit cost", "cost of a repair", "allowance of a repair"}
    assert found == (shown | {"cost of a comeback"} if shows_costs else set())


def test_the_owner_finds_each_figure(client, planted):
    """So the search above would find them, too."""
    walked = walk(client, Role.OWNER, planted)
    assert set(walked.found) == {*PLANTED, "cost of a fix"}
