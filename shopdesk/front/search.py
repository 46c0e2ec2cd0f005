"""One search box for everything, typed or scanned.

Each room defines, in the `search()` of its records, which of them match a query and how
well. Users find only what they may open.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import chain
from urllib.parse import urlencode

from django import forms
from django.core.paginator import Paginator
from django.db.models import Model, QuerySet
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy, gettext_noop

from billing.invoices.models import Invoice, Receipt
from billing.quotes.models import Quote
from repairs.customers.fields import NormalizedCharField, phone_of
from repairs.customers.models import Customer, Device
from repairs.faults.models import Fault, Fix
from repairs.jobs.models import Job
from repairs.stock.models import Delivery, Part
from shopdesk.lookup import EXACT
from shopdesk.shop.models import Shop
from shopdesk.shop.numbering import read_label
from shopdesk.staff.models import User
from shopdesk.staff.permissions import can_open

MAX_SHOWN = 10
"""Results shown of each type; a more precise query finds fewer."""
PAGE_SIZE = 50
"""Results on a page of one type, if its room has no list of its own."""

OUR_LABEL = re.compile(r"\d{2}-\d{5,}-[0-9A-Z]", re.ASCII | re.IGNORECASE)
# Scanners type as an American keyboard: on a German one, its dash arrives as ß.
GERMAN_KEYS = str.maketrans("ßyzYZ", "-zyZY")


class SearchForm(forms.Form):
    q = NormalizedCharField(
        label=gettext_lazy("Number, name, phone, serial, value, lot or code"),
        max_length=200,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    only = forms.CharField(required=False, widget=forms.HiddenInput)


@dataclass
class SearchResult:
    """Records of one type, best match first; `exact` are those that match exactly."""

    type: "SearchType"
    query: str
    records: list
    exact: list = field(default_factory=list)
    fit: int = EXACT
    is_truncated: bool = False

    @property
    def all_url(self) -> str:
        """The address of all results: the room's own list, or the one here."""
        if not self.type.list_url_name:
            params = urlencode({"q": self.query, "only": self.type.name})
            return f"{reverse('find')}?{params}"
        params = {"q": self.query, **self.type.list_params}
        return f"{reverse(self.type.list_url_name)}?{urlencode(params)}"


@dataclass(frozen=True)
class SearchType:
    """A type of record; who may see it follows from `url_name`."""

    name: str
    url_name: str
    model: type[Model]
    rows: str = "for_list"
    has_shop_number: bool = False
    list_url_name: str = ""
    list_params: dict[str, str] = field(default_factory=dict)

    @property
    def label(self) -> str:
        return gettext(self.name)

    @property
    def plural(self) -> str:
        """Return what such records are called within a sentence."""
        return gettext(self.name.lower())

    def search(self, query: str, *, user: User, shop: Shop) -> QuerySet:
        """Return the matching records, each with its `fit`, best match first."""
        return self.model.objects.search(query)

    def rows_for_list(self) -> QuerySet:
        return getattr(self.model.objects, self.rows)()

    def with_number(self, text: str) -> SearchResult:
        """Return the record with this number, if the shop assigns such numbers."""
        if not self.has_shop_number:
            return SearchResult(self, text, [])
        keys = self.model.objects.with_number(text).values_list("pk", flat=True)
        return self.load(text, [(key, EXACT) for key in keys[:2]])

    def matches(self, query: str, **who) -> QuerySet:
        """Return the keys and fits of all matching records."""
        return self.search(query, **who).values_list("pk", "fit")

    def first_results(self, query: str, **who) -> SearchResult:
        best = list(self.matches(query, **who)[: MAX_SHOWN + 1])
        result = self.load(query, best[:MAX_SHOWN])
        result.is_truncated = len(best) > MAX_SHOWN
        return result

    def load(self, query: str, matches: Iterable[tuple[int, int]]) -> SearchResult:
        """Return the records of these keys, in their order."""
        fits = dict(matches)
        rows = self.rows_for_list().in_bulk(list(fits)) if fits else {}
        records = [rows[pk] for pk in fits if pk in rows]
        exact = [record for record in records if fits[record.pk] == EXACT]
        return SearchResult(
            self, query, records, exact, min(fits.values(), default=EXACT)
        )


class CustomerType(SearchType):
    def search(self, query, *, user, shop):
        phone = phone_of(query, country=shop.phone_country)
        return self.model.objects.search(query, phone=phone)


class FixType(SearchType):
    def search(self, query, *, user, shop):
        """A fix without a fault is shown only to those who may change it."""
        found = super().search(query, user=user, shop=shop)
        is_editor = can_open(user, "faults:change_fix")
        return found if is_editor else found.exclude(faults=None)


SEARCH_TYPES = (
    SearchType(gettext_noop("Jobs"), "bench:job", Job, has_shop_number=True),
    CustomerType(
        gettext_noop("Customers"),
        "customers:customer",
        Customer,
        list_url_name="customers:all",
    ),
    SearchType(gettext_noop("Devices"), "customers:device", Device),
    SearchType(
        gettext_noop("Invoices and credit notes"),
        "invoices:invoice",
        Invoice,
        has_shop_number=True,
        list_url_name="invoices:all",
    ),
    SearchType(
        gettext_noop("Receipts"), "invoices:for_job", Receipt, has_shop_number=True
    ),
    SearchType(
        gettext_noop("Quotes"),
        "quotes:quote",
        Quote,
        rows="as_found",
        has_shop_number=True,
        list_url_name="quotes:all",
        list_params={"status": "all"},
    ),
    SearchType(
        gettext_noop("Parts"),
        "stock:part",
        Part,
        list_url_name="stock:parts",
        list_params={"show": "every"},
    ),
    SearchType(gettext_noop("Deliveries"), "stock:part", Delivery),
    SearchType(
        gettext_noop("Faults"),
        "faults:fault",
        Fault,
        list_url_name="faults:book",
        list_params={"show": "every"},
    ),
    FixType(gettext_noop("Fixes"), "faults:fault", Fix),
)

WITHIN_A_SENTENCE = (
    *(gettext_noop("jobs"), gettext_noop("customers"), gettext_noop("devices")),
    *(gettext_noop("invoices and credit notes"), gettext_noop("receipts")),
    *(gettext_noop("quotes"), gettext_noop("parts"), gettext_noop("deliveries")),
    *(gettext_noop("faults"), gettext_noop("fixes")),
)
"""What `SearchType.plural` looks up."""


def search(request):
    """Open the record if there is exactly one exact match, or list what matches."""
    form = SearchForm(request.GET if "q" in request.GET else None)
    if not form.is_valid():
        return render(request, "shopdesk/front/search/search.html", {"form": form})
    query, only = form.cleaned_data["q"], form.cleaned_data["only"]
    for type in types_for(request.user):
        if type.name == only:
            return _all_of_type(request, type, query)
    results = find_results(readings(query), user=request.user, shop=request.shop)
    exact = [record for result in results for record in result.exact]
    if len(exact) == 1:
        return redirect(exact[0])
    if misread := is_misread(query) and not exact:
        results = []
    context = {
        "form": form,
        "search_query": query,
        "results": results,
        "is_misread": misread,
    }
    return render(request, "shopdesk/front/search/search.html", context)


def _all_of_type(request, type, query):
    matches = type.matches(query, user=request.user, shop=request.shop)
    page = Paginator(matches, PAGE_SIZE).get_page(request.GET.get("page"))
    result = type.load(query, page.object_list)
    context = {"search_query": query, "result": result, "page": page}
    return render(request, "shopdesk/front/search/all_of_type.html", context)


def types_for(user: User) -> list[SearchType]:
    return [type for type in SEARCH_TYPES if can_open(user, type.url_name)]


def find_results(queries: list[str], **who) -> list[SearchResult]:
    """Return the matches that a user may see, best matching type first.

    A number assigned by the shop comes before any other meaning. The first of `queries`
    with a match counts.
    """
    types = types_for(who["user"])
    numbered = ([type.with_number(query) for type in types] for query in queries)
    matching = ([t.first_results(query, **who) for t in types] for query in queries)
    for results in chain(numbered, matching):
        if results := [result for result in results if result.records]:
            return sorted(results, key=lambda result: result.fit)
    return []


def readings(query: str) -> list[str]:
    """Return the query as typed, and as the label code it may be."""
    scanned = query.translate(GERMAN_KEYS) if "ß" in query else query
    return list(dict.fromkeys([query, scanned, scanned.replace("'", "-")]))


def is_misread(query: str) -> bool:
    """Whether it is a label code of the shop with a wrong check character."""
    labels = [text for text in readings(query) if OUR_LABEL.fullmatch(text)]
    return bool(labels) and not any(read_label(text) for text in labels)
