"""The monthly report, for the page and for the document."""

from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from repairs.comebacks.advice import (
    Recommendation,
    SuspectDelivery,
    with_suspects,
)
from repairs.comebacks.cache import cached, fingerprint
from repairs.comebacks.record import ComebackReport, comeback_report
from repairs.comebacks.scope import Scope
from repairs.month import news
from repairs.month.forecast import Forecast, forecast
from repairs.month.frame import Observations
from repairs.month.groups import DELIVERY, GroupRow, all_groups
from repairs.month.month_chart import (
    AllowanceChart,
    RateChart,
    allowance_chart,
    rate_chart,
)
from repairs.month.months import (
    Months,
    Triangle,
    last_day_before,
    months,
    triangle,
)
from repairs.month.queries import observe, read_repairs
from repairs.month.reserves import (
    AllowanceMonth,
    MonthCosts,
    allowance_months,
    month_costs,
    total_allowance,
)
from shopdesk.look.shop_formats import money
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class MonthReport:
    scope: Scope
    before: date
    """The last day of the month before, for comparison."""
    recommendations: list[Recommendation]
    """What to change, by all repairs up to the day."""
    news: list[news.NewsItem]
    suspects: list[tuple[GroupRow, str]]
    """Deliveries, models and boards with too many comebacks, and their addresses."""
    months: Months
    chart: RateChart
    triangle: Triangle
    forecast: Forecast
    forecast_before: Forecast
    """As of the day `before`, for the days since."""
    actual: int
    """Comebacks of those repairs since."""
    costs: MonthCosts
    costs_before: MonthCosts
    allowances: list[AllowanceMonth]
    allowance_chart: AllowanceChart

    @property
    def month_allowance(self) -> AllowanceMonth:
        """Of the month of the report's date."""
        return self.allowances[-1]

    @property
    def total_allowance(self) -> AllowanceMonth:
        """Of all months in the chart."""
        bars = self.allowance_chart.bars
        return total_allowance([bar.row for bar in bars] or self.allowances)


def month_report(scope: Scope, *, shop: Shop) -> MonthReport:
    """Return the report, calculated again only if any data behind it have changed."""
    mark = fingerprint(shop)
    return cached(
        "month", scope, lambda: _calculate(scope, shop=shop), fingerprint=mark
    )


def groups(scope: Scope, *, shop: Shop) -> list[GroupRow]:
    """Return the deliveries, models and boards of all repairs, cached likewise."""

    def calculate() -> list[GroupRow]:
        report = comeback_report(scope, shop=shop)
        return all_groups(observe(read_repairs(scope.as_of), report))

    return cached("groups", scope, calculate, fingerprint=fingerprint(shop))


class _Day:
    """The comeback report of a day, with its individual repairs.

    Deliveries, models and boards are judged from all repairs.
    """

    def __init__(self, report: ComebackReport, repairs: pd.DataFrame) -> None:
        self.report = report
        self.seen = observe(repairs, report, only=report.scope.repairs)
        self.months = months(self.seen)
        self.groups = [] if report.scope.is_filtered else all_groups(self.seen)
        self.costs = month_costs(report, self.seen)


def _calculate(scope: Scope, *, shop: Shop) -> MonthReport:
    last = last_day_before(scope.as_of)
    report = comeback_report(scope, shop=shop)
    report_before = comeback_report(replace(scope, as_of=last), shop=shop)
    repairs = read_repairs(scope.as_of, only=scope.repairs)
    now, before = _Day(report, repairs), _Day(report_before, repairs)
    allowances = allowance_months(
        report, now.seen, months=now.months.rows, places=shop.places
    )
    return MonthReport(
        scope=scope,
        before=last,
        recommendations=_recommendations(now),
        news=_news(now, before, shop=shop),
        suspects=[(group, group.url(scope)) for group in now.groups if group.is_bad],
        months=now.months,
        chart=rate_chart(now.months),
        triangle=triangle(now.seen, now.months.rows),
        forecast=forecast(now.seen),
        forecast_before=forecast(before.seen, days=(scope.as_of - last).days),
        actual=_comebacks_since(before.seen, now.seen),
        costs=now.costs,
        costs_before=before.costs,
        allowances=allowances,
        allowance_chart=allowance_chart(allowances),
    )


def _news(now: _Day, before: _Day, *, shop: Shop) -> list[news.NewsItem]:
    scope = now.report.scope
    return [
        *news.news_of_pairs(now.report, before=before.report),
        *news.news_of_groups(now.groups, before=before.groups, scope=scope),
        *news.news_of_months(now.months.rows, before=before.months.rows, scope=scope),
        *news.news_of_costs(
            now.costs,
            before=before.costs,
            scope=scope,
            format_amount=lambda amount: money(amount, shop),
        ),
    ]


def _recommendations(now: _Day) -> list[Recommendation]:
    """Return what to change, naming a delivery to be suspected first."""
    suspects = [
        SuspectDelivery(
            group.name, group.comebacks_by_pair, group.url(now.report.scope)
        )
        for group in now.groups
        if group.is_bad and group.kind == DELIVERY
    ]
    return with_suspects(now.report.recommendations, suspects)


def _comebacks_since(before: Observations, now: Observations) -> int:
    """Return how many repairs open on the earlier day have come back since."""
    was_open = before.repairs.loc[before.repairs["is_open"], "repair"]
    is_event = now.repairs["repair"].isin(was_open) & (now.repairs["is_event"] == 1)
    return int(is_event.sum())
