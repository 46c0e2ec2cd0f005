"""The demo shop today: jobs in every state, created by the shop's own actions."""

from collections.abc import Callable, Mapping
from datetime import timedelta
from decimal import Decimal

from repairs.jobs import states
from shopdesk.demo import bench_steps, till_steps
from shopdesk.demo.facts import FAULTS, read
from shopdesk.demo.story import STEPS, Story
from shopdesk.mail.models import Email

JOBS = read("jobs.csv")
"""How many days ago each job came in, its fault, its steps, and how it left."""
RETURNS = (
    (states.UNDECIDED, False),
    (states.UNDECIDED, False),
    (states.HANDLING_DAMAGE, False),
    (states.SAME_FAULT, False),
    (states.SAME_FAULT, True),
)
"""What each return is assessed as, and whether it is repaired already."""


def run_all(story: Story, *, progress: Callable[[], object] = lambda: None) -> None:
    """Run every job in the order of booking in, so that numbers follow the days."""
    for plan in JOBS:
        _run_job(story, plan)
        progress()
    for what, is_repaired in RETURNS:
        bench_steps.book_in_return(story, what, is_repaired=is_repaired)
        progress()
    story.at_till(1, 11, story.counter, till_steps.pay_a_part)
    story.at_till(5, 18, story.counter, till_steps.close_till)
    story.at_till(1, 18, story.counter, till_steps.close_till, Decimal("0.50"))
    story.run_till()
    _send_emails(story)


def _run_job(story: Story, plan: Mapping[str, str]) -> None:
    """Run the steps of one job; without a `fault`, one is chosen at random."""
    days = int(plan["days"])
    code = plan["fault"] or story.pick.choice(
        [code for code in sorted(FAULTS) if not code.startswith("LIQ")]
    )
    is_expected = plan["start"] == "expected"
    job = bench_steps.book_in(story, code, days, is_expected=is_expected)
    if plan["start"] == "diagnosed":
        bench_steps.diagnose(story, job, days, code)
    for step in plan["steps"].split():
        name, *how = step.split(":")
        job.refresh_from_db()
        STEPS[name](story, job, days, *how)
    if plan["handed_over"]:
        till_steps.hand_over(story, job, plan)


def _send_emails(story: Story) -> None:
    """Send what was written before yesterday; the last email is rejected."""
    *earlier, last = Email.objects.order_by("id")
    for email in earlier:
        if email.written_at < story.now - timedelta(days=2):
            email.mark_sent(email.written_at + timedelta(minutes=2))
    error = f"The mail server does not accept email for {last.to}: mailbox unknown"
    last.mark_failed(error, story.now, is_final=True)
