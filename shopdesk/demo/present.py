"""The demo shop today: jobs in every state, brought there by the shop's own actions."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

from repairs.jobs import states
from shopdesk.demo import bench_stories, quote_stories, till_stories, work_stories
from shopdesk.demo.facts import read
from shopdesk.demo.story import Story
from shopdesk.mail.models import Email

JOBS = read("jobs.csv")
"""How many days ago each came in, how far it got, with which fault, and how it left."""
RETURNS = (
    (states.UNDECIDED, False),
    (states.UNDECIDED, False),
    (states.HANDLING_DAMAGE, False),
    (states.SAME_FAULT, False),
    (states.SAME_FAULT, True),
)
"""What each return is assessed as, and whether it is repaired already."""
STORIES = {
    tell.__name__: tell
    for module in (bench_stories, quote_stories, work_stories, till_stories)
    for tell in module.STORIES
}


def tell_all(story: Story, *, progress: Callable[[], object] = lambda: None) -> None:
    """Tell every job in the order the devices came in: numbers follow the days."""
    for plan in JOBS:
        if plan["handed_over"]:
            till_stories.handed_over(story, plan)
        else:
            STORIES[plan["story"]](story, plan["fault"], days=int(plan["days"]))
        progress()
    for what, is_repaired in RETURNS:
        bench_stories.returned(story, what, is_repaired=is_repaired)
        progress()
    till_stories.pay_a_part(story, days=1)
    till_stories.close_till(story, days=5)
    till_stories.close_till(story, days=1, missing=Decimal("0.50"))
    story.run_till()
    _send_emails(story)


def _send_emails(story: Story) -> None:
    """Send what was written before yesterday; the last email is refused."""
    *earlier, last = Email.objects.order_by("id")
    for letter in earlier:
        if letter.written_at < story.now - timedelta(days=2):
            letter.is_sent(letter.written_at + timedelta(minutes=2))
    last.is_refused(
        f"The mail server does not accept email for {last.to}: mailbox unknown",
        story.now,
        for_good=True,
    )
