"""Staff pages: a job's customer links, and the screen turned to the customer."""

from urllib.parse import quote as quoted
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_POST

from billing.customer_page import actions
from billing.customer_page.queries import quote_shown
from billing.customer_page.tables import LinkTable
from billing.customer_page.views import (
    Viewer,
    in_customers_language,
    record_answer,
    show_page,
)
from billing.quotes.links import create_address
from billing.quotes.models import Link, Quote
from repairs.jobs.models import Job
from shopdesk.papers.render import document_language
from shopdesk.sent_forms.attempts import attempt
from shopdesk.sent_forms.once import act_once
from shopdesk.staff.link_pages import is_local_host
from shopdesk.stamp import Stamp


def _job(pk):
    return get_object_or_404(Job.objects.for_list(), pk=pk)


def for_job(request, pk):
    """Show the job's links. A new one is shown in the response to its form only.

    A redirect would have to store the token somewhere.
    """
    job = _job(pk)
    made = _made(request, job) if request.method == "POST" else {}
    today = timezone.localdate()
    links = job.links.select_related("made_by", "revoked_by")
    quote = quote_shown(job)
    return render(
        request,
        "billing/customer_page/for_job.html",
        {
            "job": job,
            "table": LinkTable(links, on=today, request=request, orderable=False),
            "has_links": bool(links),
            "quote": quote,
            "may_sign": quote is not None and quote.is_sent,
            **made,
        },
    )


def _made(request, job):
    """Create a link, and an email with it."""
    with act_once(request):
        address = create_address(request, job, stamp=Stamp.of(request))
    shop = request.shop
    with document_language(shop):
        subject = gettext("Your {device}: job {number}")
        body = gettext(
            "Hello {name},\n\nYou can read and answer our quote and check the repair"
            " status here:\n\n{link}\n\nAnyone with this link can answer for you, so"
            " keep it private.\n\n{shop}"
        )
    letter = {
        "subject": subject.format(device=job.device.model, number=job.number),
        "body": body.format(name=job.customer.name, link=address, shop=shop.name),
    }
    return {
        "address": address,
        "mail": f"mailto:{quoted(job.customer.email)}?"
        + urlencode(letter, quote_via=quoted),
        "is_local": not settings.PUBLIC_URL and is_local_host(request),
    }


@require_POST
def revoke(request, pk):
    """Revoke the link."""
    link = get_object_or_404(Link, pk=pk)
    attempt(request, None, actions.revoke, link, stamp=Stamp.of(request))
    messages.success(request, gettext("Link revoked."))
    return redirect("customer_links:for_job", link.job_id)


def sign_here(request, pk):
    """Show the customer's page on the counter's screen, and nothing else."""
    job = _job(pk)
    viewer = Viewer(
        reverse("customer_links:sign_here", args=[pk]),
        how=Quote.How.SCREEN,
        by=request.user,
    )
    with in_customers_language(request):
        if request.method == "POST":
            return record_answer(request, job, viewer)
        return show_page(request, job, viewer)
