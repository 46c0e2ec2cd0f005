"""Jobs of the demo shop after the customer accepted: extra work, tests, ready."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

from billing.changes import actions as changes
from billing.changes.models import ChangeLine, ChangeOrder
from billing.quotes.models import LineKind, Quote
from repairs.bench import actions as bench
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.demo.bench_stories import close, complete_repairs, pass_final_tests
from shopdesk.demo.quote_stories import (
    LINK,
    PHONE,
    SCREEN,
    approved,
    approved_by_form,
    declined,
)
from shopdesk.demo.story import Story
from shopdesk.shop.models import Shop

# --- extra work -----------------------------------------------------------------------


def awaits_extra_work_answer(story: Story, code: str, *, days: int) -> Job:
    job = approved(story, code, days=days)
    _quote_extra_work(story, job, days=days - 3)
    job.refresh_from_db()
    return job


def _quote_extra_work(story: Story, job: Job, *, days: int) -> ChangeOrder:
    line = ChangeLine(
        kind=LineKind.PART,
        text="Flat cable, torn at the fold",
        quantity=Decimal(1),
        price=Decimal("11.50"),
    )
    line.set_tax(Shop.current().tax(story.day(days), job.customer.tax_kind))
    stamp = story.stamp(days, 10, story.bench)
    why = "With the case open, we found the flat cable torn."
    return changes.record(job, why=why, lines=[line], at=stamp.at, by=stamp.by)


def _answered(story: Story, code: str, *, days: int, accepts: bool) -> Job:
    """Return the repaired job, with or without the extra work."""
    job = approved(story, code, days=days)
    change = _quote_extra_work(story, job, days=days - 3)
    stamp = story.stamp(days - 3, 11, story.counter)
    customer = change.quote.job.customer
    changes.answer(
        change,
        said="yes" if accepts else "no",
        who=customer.name,
        how=Quote.How.PHONE,
        reached_at=customer.phone,
        why="" if accepts else "Not worth it for this device.",
        at=stamp.at,
        by=stamp.by,
    )
    job.refresh_from_db()
    return complete_repairs(story, job, days=days - 3)


def accepted_extra_work(story: Story, code: str, *, days: int) -> Job:
    return _answered(story, code, days=days, accepts=True)


# --- at the bench ---------------------------------------------------------------------


def with_timer(story: Story, code: str, *, days: int) -> Job:
    """A timer has been running for 24 minutes."""
    job = approved(story, code, days=days)
    at = story.now - timedelta(minutes=24)
    bench.start_timer(job, repair=job.repairs.get(), at=at, by=story.bench)
    return job


def repaired_by_form(story: Story, code: str, *, days: int) -> Job:
    job = approved_by_form(story, code, days=days)
    return complete_repairs(story, job, days=days - 3)


def failed_final_test(story: Story, code: str, *, days: int) -> Job:
    """Extra work was declined; the fault showed again in the final test."""
    job = _answered(story, code, days=days, accepts=False)
    stamp = story.stamp(days - 4, 11, story.bench)
    bench.run_proof(
        job.repairs.get(),
        tries=6,
        failed=1,
        note="fault showed again when warm",
        at=stamp.at,
        by=stamp.by,
    )
    job.refresh_from_db()
    return job


def tested(story: Story, code: str, *, days: int, how: str = PHONE) -> Job:
    job = approved(story, code, days=days, how=how)
    complete_repairs(story, job, days=days - 3)
    return pass_final_tests(story, job, days=days - 3)


def tested_by_link(story: Story, code: str, *, days: int) -> Job:
    """The customer accepted by the link."""
    return tested(story, code, days=days, how=LINK)


def tested_signed(story: Story, code: str, *, days: int) -> Job:
    """The customer signed on the counter's screen."""
    return tested(story, code, days=days, how=SCREEN)


# --- ready ----------------------------------------------------------------------------


def ready(story: Story, code: str, *, days: int) -> Job:
    return close(story, tested(story, code, days=days), days=days - 4)


def ready_with_extra_work(story: Story, code: str, *, days: int) -> Job:
    job = accepted_extra_work(story, code, days=days)
    job = pass_final_tests(story, job, days=days - 3)
    return close(story, job, days=days - 4)


def ready_declined(story: Story, code: str, *, days: int) -> Job:
    job = declined(story, code, days=days)
    stamp = story.stamp(days - 4, 9, story.counter)
    job.close(outcome=states.DECLINED_BY_CUSTOMER, by=stamp.by)
    return job


def uncollected(story: Story, code: str, *, days: int) -> Job:
    """Ready for so long that it is marked as not collected."""
    job = ready(story, code, days=days)
    job.uncollected_since = story.day(days - 4 - 30)
    job.save(update_fields=["uncollected_since"])
    return job


STORIES: tuple[Callable[..., Job], ...] = (
    awaits_extra_work_answer,
    accepted_extra_work,
    with_timer,
    repaired_by_form,
    failed_final_test,
    tested_by_link,
    tested_signed,
    ready,
    ready_with_extra_work,
    ready_declined,
    uncollected,
)
