"""Extra work is recorded, and the customer agrees or declines.

The job is always locked first, as with quotes.
"""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext

from billing.changes.models import ChangeAnswer, ChangeLine, ChangeOrder
from billing.changes.queries import accepted_quote, all_agreed, open_change
from billing.quotes import states
from billing.quotes.answer_emails import (
    NO_LINKS,
    AnswerLinks,
    one_line,
    quote_attachment,
    send_emails,
)
from billing.quotes.models import Quote
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

WORKING = job_states.IN_WORK
Decision = ChangeAnswer.Decision


@transaction.atomic
def record(
    job: Job, *, why: str, lines: Sequence[ChangeLine], stamp: Stamp
) -> ChangeOrder:
    """Record extra work and its price; the job waits for the customer's answer."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    quote = _open_to_change(job)
    if open_change(quote):
        raise RefusedError(
            gettext(
                "Extra work is still waiting for an answer. Record that answer first."
            )
        )
    if not lines:
        raise RefusedError(gettext("Enter at least one line of extra work."))
    agreed = all_agreed(quote)
    before = quote.totals_of(agreed).gross
    # Calculated together, as on the invoice: tax is rounded once for all lines.
    after = quote.totals_of([*agreed, *lines]).gross
    if after <= before:
        raise RefusedError(
            gettext("This does not raise the price, so no agreement is needed.")
        )
    change = ChangeOrder.objects.create(
        quote=quote,
        number=quote.changes.count() + 1,
        why=why,
        agreed_before=before,
        extra=after - before,
        new_total=after,
        made_at=stamp.at,
        recorded_by=stamp.by,
    )
    repairs = list(job.repairs.to_be_fixed())
    for position, line in enumerate(lines, 1):
        line.change, line.position = change, position
        line.repair = repairs[0] if len(repairs) == 1 else None
        line.calculate(places=quote.places)
        line.save()
    _wait(job, Job.WaitingFor.CUSTOMER, stamp=stamp)
    return change


def _open_to_change(job: Job) -> Quote:
    """Return the accepted quote of a job in progress; raise if there is none."""
    quote = accepted_quote(job)
    if quote is None or job.approved_warranty_repair:
        raise RefusedError(
            gettext("No price is agreed for this job. Create a quote first.")
        )
    if job.state not in WORKING:
        raise RefusedError(
            gettext(
                "This job is {state}. Extra work can be added only while the"
                " repair is in progress: reopen the job first."
            ).format(state=job.get_state_display())
        )
    return quote


def _wait(job: Job, on: str, *, stamp: Stamp) -> None:
    """Set whom the job waits for; clear it only if it waits for the customer."""
    if on or job.waiting_for == Job.WaitingFor.CUSTOMER:
        with workflow.locked_for_change(job, version=None, stamp=stamp):
            job.set_waiting(on, on=stamp.on)
            job.save(update_fields=Job.WAITING_FIELDS)


@transaction.atomic
def answer(
    change: ChangeOrder,
    *,
    decision: str,
    who: str,
    how: str,
    stamp: Stamp,
    at: datetime | None = None,
    reached_at: str = "",
    why: str = "",
    links: AnswerLinks = NO_LINKS,
) -> ChangeAnswer:
    """Record the customer's answer; repeating the same answer changes nothing.

    `at` is when the customer answered, if that was earlier.
    """
    job = Job.objects.select_for_update().get(pk=change.quote.job_id)
    change = ChangeOrder.objects.select_related("quote").get(pk=change.pk)
    if not change.is_open:
        if change.answer.decision == decision:
            return change.answer
        who = change.answer.who
        already = (
            gettext("Already {answer} by {who}.")
            if who
            else gettext("Already {answer}.")
        )
        given = change.answer.get_decision_display()
        raise RefusedError(already.format(answer=given, who=who))
    if decision == Decision.YES:
        if change.quote.state != states.ACCEPTED:
            raise RefusedError(
                gettext("The quote was revised meanwhile. Nothing was ordered.")
            )
        _open_to_change(job)
    given = ChangeAnswer.objects.create(
        change=change,
        decision=decision,
        who=who,
        how=how,
        reached_at=reached_at,
        given_at=at or stamp.at,
        recorded_by=stamp.by,
        why=why,
    )
    _wait(job, Job.WaitingFor.NOBODY, stamp=stamp)
    if decision != Decision.WITHDRAWN:
        _email_answer(given, links=links, stamp=stamp)
    return given


def _email_answer(given: ChangeAnswer, *, links: AnswerLinks, stamp: Stamp) -> None:
    shop, change = Shop.current(), given.change
    send_emails(
        change.quote,
        {
            "change": change,
            "decision": given.decision,
            "who": one_line(given.who),
            "how": given.get_how_display,  # called in their language
            "why": one_line(given.why),
            "at": given.given_at,
        },
        template="billing/changes/answer_email.txt",
        attachments=(
            [quote_attachment(change.quote, shop=shop)]
            if given.decision == Decision.YES
            else []
        ),
        how=given.how,
        shop=shop,
        links=links,
        about=change.get_absolute_url(),
        stamp=stamp,
    )


def withdraw(change: ChangeOrder, *, stamp: Stamp) -> ChangeAnswer:
    """Withdraw extra work that is not answered yet, because its amounts were wrong."""
    return answer(change, decision=Decision.WITHDRAWN, who="", how="", stamp=stamp)
