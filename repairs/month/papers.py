"""The comeback report as a document."""

from datetime import datetime, time

from django.utils import timezone

from repairs.comebacks.comeback_table import HEADINGS
from repairs.comebacks.record import comeback_report
from repairs.comebacks.risk_chart import forest_plots
from repairs.comebacks.scope import Scope
from repairs.month.report import month_report
from repairs.month.top_advice import first_advice
from shopdesk.papers.render import SCREENS, render_pdf
from shopdesk.shop.models import Shop

MAX_LINES = 30  # of the forest plot
LINES = 10  # of one part of it, so that pages have little empty space


def render_report_pdf(scope: Scope, *, shop: Shop) -> bytes:
    """Return the monthly report and the comeback table as PDF."""
    report = comeback_report(scope, shop=shop)
    midnight = datetime.combine(scope.as_of, time(), timezone.get_current_timezone())
    drawn = report.rows[:MAX_LINES]
    month = month_report(scope, shop=shop)
    return render_pdf(
        "repairs/month/report.html",
        {
            "month": month,
            "first": first_advice(report, month, shop=shop),
            "report": report,
            "headings": HEADINGS,
            "shop": shop,
            "drawn": len(drawn),
            "forests": forest_plots(drawn, limit=report.table.limit, lines=LINES),
            "is_paper": True,
        },
        size=shop.paper,
        made_at=midnight,
        language=SCREENS,
    )
