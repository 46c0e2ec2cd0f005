"""The jobs behind a total: every number of the comeback pages opens its own."""

from django.http import Http404
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django_tables2 import RequestConfig

from repairs.comebacks.behind import queries
from repairs.comebacks.behind.forms import BECAME, WhichForm
from repairs.comebacks.behind.tables import CountedTable, RedoneTable
from repairs.comebacks.context import repairs_asked
from repairs.comebacks.forms import AskForm
from shopdesk.shop.models import Shop


def repairs(request):
    """All repairs that the comeback table counts, or those of one fate."""
    form, which = ask(request), which_asked(request)
    became = BECAME.get(which.cleaned_data["became"], "count")
    context = {
        "form": form,
        "kept": which.kept(),
        "heading": f"Repairs that {became}",
        "back": reverse("comebacks:table"),
    }
    if form.is_valid():
        day = {"as_of": form.asked.as_of, "within": form.asked.within}
        found = queries.counted_repairs(
            **day,
            became=which.cleaned_data["became"],
            since=which.cleaned_data["since"],
            only=repairs_asked(form.asked),
        )
        rows = queries.PageByPage(found, **day)
        table = CountedTable(rows, orderable=False)
        context |= {
            "asked": form.asked,
            "questions": urlencode(form.asked.in_address),
            "counted": len(rows),
            "became": became,
            "since": which.cleaned_data["since"],
            "table": RequestConfig(request).configure(table),
        }
    return render(request, "repairs/comebacks/behind/repairs.html", context)


def redone(request):
    """The comebacks handed back in a month, and what they cost; or those still here."""
    form, which = ask(request), which_asked(request)
    is_here = which.cleaned_data["here"]
    context = {"form": form, "kept": which.kept(), "is_here": is_here}
    if form.is_valid():
        rows = queries.redone(
            as_of=form.asked.as_of,
            is_here=is_here,
            fault=which.cleaned_data["fault"],
            fix=which.cleaned_data["fix"],
            only=repairs_asked(form.asked),
        )
        context |= {
            "asked": form.asked,
            "questions": urlencode(form.asked.in_address),
            "counted": len(rows),
            "cost": sum(row.cost or 0 for row in rows),
            "table": RequestConfig(request).configure(RedoneTable(rows)),
        }
    return render(request, "repairs/comebacks/behind/redone.html", context)


def ask(request):
    """The question of the address; the shop is asked for once, for the frame too."""
    request.shop = Shop.current()
    return AskForm(
        request.GET,
        today=timezone.localdate(),
        within=request.shop.comeback_period_days,
    )


def which_asked(request):
    """Which of the repairs; an address that no page of ours gives is not found."""
    which = WhichForm(request.GET)
    if not which.is_valid():
        raise Http404
    return which
